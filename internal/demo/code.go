package demo

import (
	"crypto/sha256"
	"math/big"
	"strings"

	"afterbeam/internal/procedure"
)

func dcm(value, meaning string) procedure.Code {
	return procedure.Code{Value: value, Scheme: "DCM", Meaning: meaning}
}

func sct(value, meaning string) procedure.Code {
	return procedure.Code{Value: value, Scheme: "SCT", Meaning: meaning}
}

// Target regions of PS3.16 CID 4031; read.
func heart() procedure.Code           { return sct("80891009", "Heart") }
func chest() procedure.Code           { return sct("51185008", "Chest") }
func abdomen() procedure.Code         { return sct("113345001", "Abdomen") }
func chestAndAbdomen() procedure.Code { return sct("416550000", "Chest and Abdomen") }
func phantom() procedure.Code         { return dcm("113681", "Phantom") }

// recumbent is the attitude of PS3.16 CID 19; read.
func recumbent() procedure.Code { return sct("102538003", "recumbent") }

// therapy and diagnosis are intents of PS3.16 CID 3629, qualityControl the one without a patient; read.
func therapy() procedure.Code        { return sct("262202000", "Therapeutic Intent") }
func diagnosis() procedure.Code      { return sct("261004008", "Diagnostic Intent") }
func qualityControl() procedure.Code { return dcm("113680", "Quality Control Intent") }

// referencePoint is the usual one of a C-arm, PS3.16 CID 10025; read.
func referencePoint() procedure.ReferencePoint {
	return procedure.ReferencePoint{Code: dcm("113860", "15cm from Isocenter toward Source")}
}

// surgeon, cardiologist and radiographer are invented persons, named by what they do.
func surgeon(letter string) procedure.Person {
	return person("Operator^"+letter+"^Synthetic", "OP-"+letter, dcm("113850", "Irradiation Authorizing"),
		sct("304292004", "Surgeon"))
}

func cardiologist(letter string) procedure.Person {
	return person("Operator^"+letter+"^Synthetic", "OP-"+letter, dcm("113850", "Irradiation Authorizing"),
		sct("309343006", "Physician"))
}

func radiographer(letter string) procedure.Person {
	return person("Radiographer^"+letter+"^Synthetic", "RG-"+letter, dcm("113851", "Irradiation Administering"),
		sct("159016003", "Radiologic Technologist"))
}

func person(name, id string, inProcedure, inOrganization procedure.Code) procedure.Person {
	return procedure.Person{
		Name: name, ID: id, Issuer: "Saltmarsh staff list (synthetic)", Organization: Centre,
		RoleInProcedure: inProcedure, RoleInOrganization: inOrganization,
	}
}

// uid makes an identifier under 2.25 from a name: a UUID of version 8 whose free bits are a digest of the name.
// Source: PS3.5 annex B.2; RFC 9562 section 5.8; known from memory.
func uid(name ...string) string {
	sum := sha256.Sum256([]byte("saltmarsh/" + strings.Join(name, "/")))
	id := sum[:16]
	id[6] = id[6]&0x0f | 0x80
	id[8] = id[8]&0x3f | 0x80
	return "2.25." + new(big.Int).SetBytes(id).String()
}
