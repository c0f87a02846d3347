package dicommodel_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/export/dicommodel"
	"afterbeam/internal/report/dicomio"
)

func element(vr string, values ...string) dicomio.DataSet {
	return dicomio.DataSet{{Tag: 0x00091001, VR: vr, Values: values}}
}

// TestValues follows PS3.18 table F.2.3-1 and section F.2.5.
func TestValues(t *testing.T) {
	tests := map[string]struct {
		give dicomio.DataSet
		want string // behind the tag; "" is the empty data set
	}{
		"nothing":                    {nil, ""},
		"without a value":            {element("LO"), `{"vr":"LO"}`},
		"text":                       {element("LO", "a \"b\"", "", "ä"), `{"vr":"LO","Value":["a \"b\"",null,"ä"]}`},
		"control characters":         {element("UT", "a\x1bb\r\n"), `{"vr":"UT","Value":["a\u001bb\r\n"]}`},
		"decimals keep their digits": {element("DS", "1.50", "-0.1e-3", "12"), `{"vr":"DS","Value":[1.50,-0.1e-3,12]}`},
		"decimals JSON cannot write": {element("DS", "+1.", ".5", "007", ""), `{"vr":"DS","Value":[1,0.5,7,null]}`},
		"no decimal":                 {element("DS", "1,5", "0x1p3", "1_0"), `{"vr":"DS","Value":["1,5","0x1p3","1_0"]}`},
		"floats":                     {element("FD", "0.1", "NaN", "+Inf", "-Inf"), `{"vr":"FD","Value":[0.1,"NaN","inf","-inf"]}`},
		"integers":                   {element("IS", "+7", "-3", "x", ""), `{"vr":"IS","Value":[7,-3,"x",null]}`},
		"large integers":             {element("UV", "9007199254740991", "18446744073709551615"), `{"vr":"UV","Value":[9007199254740991,"18446744073709551615"]}`},
		"a tag":                      {element("AT", "1048592"), `{"vr":"AT","Value":["00100010"]}`},
		"names": {
			element("PN", "Ada^Byron=I=P", "", "=I"),
			`{"vr":"PN","Value":[{"Alphabetic":"Ada^Byron","Ideographic":"I","Phonetic":"P"},null,{"Ideographic":"I"}]}`,
		},
		"bytes":             {dicomio.DataSet{{Tag: 0x00091001, VR: "OB", Bytes: []byte{0, 255}}}, `{"vr":"OB","InlineBinary":"AP8="}`},
		"unknown":           {dicomio.DataSet{{Tag: 0x00091001, VR: "UN", Values: []string{"a"}, Bytes: []byte("a ")}}, `{"vr":"UN","InlineBinary":"YSA="}`},
		"an empty sequence": {dicomio.DataSet{{Tag: 0x00091001, VR: "SQ"}}, `{"vr":"SQ"}`},
		"a sequence": {
			dicomio.DataSet{{Tag: 0x00091001, VR: "SQ", Items: []dicomio.DataSet{nil, element("CS", "A")}}},
			`{"vr":"SQ","Value":[{},{"00091001":{"vr":"CS","Value":["A"]}}]}`,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			want := "{}\n"
			if tt.want != "" {
				want = `{"00091001":` + tt.want + "}\n"
			}
			var out bytes.Buffer
			require.NoError(t, dicommodel.WriteOne(&out, tt.give))
			assert.Equal(t, want, out.String())
			assert.True(t, json.Valid(out.Bytes()))
		})
	}
}

func TestCharacterSetIsUTF8(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, dicommodel.WriteOne(&out, dicomio.DataSet{{Tag: 0x00080005, VR: "CS", Values: []string{"ISO_IR 100"}}}))
	assert.JSONEq(t, `{"00080005":{"vr":"CS","Value":["ISO_IR 192"]}}`, out.String())
}

func TestList(t *testing.T) {
	var out bytes.Buffer
	list := dicommodel.NewList(&out)
	require.NoError(t, list.Close())
	assert.Equal(t, "[]\n", out.String())
	out.Reset()
	list = dicommodel.NewList(&out)
	require.NoError(t, list.Add(nil))
	require.NoError(t, list.Add(element("CS", "A")))
	require.NoError(t, list.Close())
	assert.Equal(t, "[{},\n{\"00091001\":{\"vr\":\"CS\",\"Value\":[\"A\"]}}]\n", out.String())
}

func TestXML(t *testing.T) {
	const head = `<?xml version="1.0" encoding="UTF-8"?>` + "\n" +
		`<NativeDicomModel xmlns="http://dicom.nema.org/PS3.19/models/NativeDICOM" xml:space="preserve">`
	var out bytes.Buffer
	require.NoError(t, dicommodel.WriteXML(&out, dicomio.DataSet{
		{Tag: 0x00080005, VR: "CS", Values: []string{"ISO_IR 100"}},
		{Tag: 0x00091001, VR: "UN", Bytes: []byte{0, 255}},
		{Tag: 0x00091002, VR: "AT", Values: []string{"1048592"}},
		{Tag: 0x00100010, VR: "PN", Values: []string{"Byron^Ada^^Dr=I"}},
		{Tag: 0x0040A730, VR: "SQ", Items: []dicomio.DataSet{{{Tag: 0x0040A160, VR: "UT", Values: []string{"a<b & \x01"}}}}},
	}))
	assert.Equal(t, head+
		`<DicomAttribute tag="00080005" vr="CS" keyword="SpecificCharacterSet"><Value number="1">ISO_IR 192</Value></DicomAttribute>`+
		`<DicomAttribute tag="00091001" vr="UN"><InlineBinary>AP8=</InlineBinary></DicomAttribute>`+
		`<DicomAttribute tag="00091002" vr="AT"><Value number="1">00100010</Value></DicomAttribute>`+
		`<DicomAttribute tag="00100010" vr="PN" keyword="PatientName"><PersonName number="1"><Alphabetic><FamilyName>Byron</FamilyName>`+
		`<GivenName>Ada</GivenName><NamePrefix>Dr</NamePrefix></Alphabetic><Ideographic><FamilyName>I</FamilyName></Ideographic></PersonName></DicomAttribute>`+
		`<DicomAttribute tag="0040A730" vr="SQ" keyword="ContentSequence"><Item number="1"><DicomAttribute tag="0040A160" vr="UT" keyword="TextValue">`+
		"<Value number=\"1\">a&lt;b &amp; \uFFFD</Value></DicomAttribute></Item></DicomAttribute></NativeDicomModel>\n", out.String())
}

// TestAnyValueIsWellFormed draws values of every VR: both models can be parsed whatever a sender wrote.
func TestAnyValueIsWellFormed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := dicomio.Element{
			Tag: dicomio.Tag(rapid.Uint32().Draw(t, "tag")), VR: rapid.SampledFrom([]string{"LO", "PN", "DS", "IS", "FD", "AT", "UV", "UI", "OB", "UN"}).Draw(t, "vr"),
			Values: rapid.SliceOf(rapid.String()).Draw(t, "values"), Bytes: rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"),
		}
		set := dicomio.DataSet{{Tag: 1, VR: "SQ", Items: []dicomio.DataSet{{e}}}}
		var out bytes.Buffer
		if err := dicommodel.WriteOne(&out, set); err != nil || !json.Valid(out.Bytes()) {
			t.Fatalf("no JSON: %v %s", err, out.Bytes())
		}
		out.Reset()
		var any struct{}
		if err := dicommodel.WriteXML(&out, set); err != nil {
			t.Fatal(err)
		}
		if err := xml.Unmarshal(out.Bytes(), &any); err != nil {
			t.Fatalf("no XML: %v %s", err, out.Bytes())
		}
	})
}
