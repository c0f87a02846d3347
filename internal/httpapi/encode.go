package httpapi

import (
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// caution goes with every estimate.
const caution = "Estimate from the dose report, not a measurement: see its range, method and assumptions. " +
	"Levels inform people and decide nothing. The medical physicist, licensed practice and local rules come first."

// number gives an absent quantity as null, and a present one in the unit that convert makes of it.
func number[T ~float64](o quantity.Opt[T], convert func(T) float64) *float64 {
	v, ok := o.Get()
	if !ok {
		return nil
	}
	n := convert(v)
	return &n
}

// plain gives a quantity in its canonical unit.
func plain[T ~float64](v T) float64 { return float64(v) }

// moment gives an unknown time as null.
func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// text gives an unknown text as null.
func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func encodeCase(c store.Case) Procedure {
	flag := ProcedureFlag(c.FlagState)
	if flag == "" {
		flag = ProcedureFlag("none")
	}
	return Procedure{
		Id: c.ID, PatientId: c.PatientID, StudyUid: c.StudyUID, Room: c.Room, State: ProcedureState(c.State),
		Start: moment(c.Start), LocalDate: text(c.LocalDate), Class: c.Class, Description: c.Description,
		QualityControl: c.Quality, Basis: basisOf(c.Basis), Version: c.Version, Flag: flag,
		Dose: Dose{
			KermaGy: number(c.Kerma, plain), KapGyCm2: number(c.KAP, quantity.GraySquareMetre.Gycm2),
			FluoroscopyMin: number(c.FluoroTime, quantity.Second.Minutes), Complete: c.Complete,
		},
		PeakSkinDose: Estimated{
			Value: number(c.PSD, plain), Low: number(c.PSDLow, plain), High: number(c.PSDHigh, plain), Unit: "Gy", Method: c.PSDMethod,
		},
		EffectiveDose: Estimated{
			Value: number(c.Effective, quantity.Sievert.MSv), Low: number(c.EffectiveLow, quantity.Sievert.MSv),
			High: number(c.EffectiveHigh, quantity.Sievert.MSv), Unit: "mSv", Method: c.EffectiveMethod,
		},
		UpdatedAt: c.UpdatedAt,
	}
}

func basisOf(b store.Basis) ProcedureBasis {
	switch b {
	case store.BasisTotals:
		return BasisTotals
	case store.BasisReplaced:
		return BasisReplaced
	case store.BasisReport:
	}
	return BasisReport
}

func encodeFlag(f store.Flag) Flag {
	return Flag{
		Scope: f.Scope, Scheme: f.Scheme, LevelId: f.LevelID, Quantity: f.Quantity, State: FlagState(f.State),
		Value: number(f.Value, plain), Level: number(f.Level, plain), Margin: margin(f.Value, f.Level), Basis: f.Basis, Text: f.Text, Source: f.Source,
		Title: f.Title, Meaning: f.Meaning, Method: f.Method, StepsPassed: f.Passed,
	}
}

// margin gives value minus level, null when either is not known.
func margin(value, level quantity.Opt[float64]) *float64 {
	v, known := value.Get()
	l, compared := level.Get()
	if !known || !compared {
		return nil
	}
	m := v - l
	return &m
}

func encodeEvent(e procedure.Event) Event {
	return Event{
		Place: e.Place, Uid: e.UID, Plane: e.Plane.String(), Start: moment(e.Start.Time), Type: e.Type.String(), Protocol: e.Protocol,
		KermaGy: number(e.RefKerma, plain), KapGyCm2: number(e.KAP, quantity.GraySquareMetre.Gycm2),
		PrimaryDeg: number(e.Mechanics.Primary, plain), SecondaryDeg: number(e.Mechanics.Secondary, plain),
		Kilovolt: mean(e.Technique.Voltages),
	}
}

// mean gives the mean of repeated values, null when there is none.
func mean[T ~float64](values []T) *float64 {
	if len(values) == 0 {
		return nil
	}
	sum := 0.0
	for _, v := range values {
		sum += float64(v)
	}
	sum /= float64(len(values))
	return &sum
}

func encodeFact(f store.Fact) Fact {
	return Fact{Name: f.Name, Value: f.Value, Source: f.Source, Author: f.Author, Reason: f.Reason, MadeAt: f.MadeAt}
}

func encodeReceipt(r store.Receipt) Receipt {
	return Receipt{
		Id: r.ID, State: ReceiptState(r.State), Reason: r.Reason, DigestSha256: r.Digest, SizeBytes: r.Size, Door: r.Door,
		ReceivedAt: r.ReceivedAt, SopClassUid: r.SOPClass, SopInstanceUid: r.SOPInstance, StudyUid: r.StudyUID,
	}
}

func encodeReview(r store.Review) Review {
	return Review{Id: r.ID, Kind: string(r.Kind), PatientId: r.PatientID, ReportId: r.ReportID, Detail: r.Detail, OpenedAt: r.OpenedAt}
}

func encodePatient(p store.Patient) Patient {
	return Patient{
		Id: p.ID, SurvivorId: p.Survivor, Number: p.Identity.Number, Issuer: p.Identity.Issuer, Name: p.Identity.Name,
		BirthDate: p.Identity.BirthDate, Sex: p.Identity.Sex,
	}
}

func encodeLink(l store.Link) Link {
	return Link{Id: l.ID, FromPatient: l.From, IntoPatient: l.Into, Reason: l.Reason, MadeBy: l.MadeBy, MadeAt: l.MadeAt}
}

// encodeWindow names the procedures that the caller sees.
func encodeWindow(w WindowSum, seen map[string]bool) Window {
	var days *int
	if w.Days > 0 {
		days = &w.Days
	}
	one := Window{
		Days: days, From: text(w.From), To: w.To, Procedures: w.Procedures,
		KermaGy: number(w.Kerma, plain), KermaFrom: w.KermaFrom,
		KapGyCm2: number(w.KAP, quantity.GraySquareMetre.Gycm2), KapFrom: w.KAPFrom,
		FluoroscopyMin: number(w.FluoroTime, quantity.Second.Minutes), FluoroscopyFrom: w.FluoroTimeFrom,
		EffectiveMsv: number(w.Effective, quantity.Sievert.MSv), EffectiveLowMsv: number(w.EffectiveLow, quantity.Sievert.MSv),
		EffectiveHighMsv: number(w.EffectiveHigh, quantity.Sievert.MSv), EffectiveFrom: w.EffectiveFrom,
		PeakSkinUpperGy: number(w.PeakSkin, plain), PeakSkinUpperHighGy: number(w.PeakSkinHigh, plain), PeakSkinFrom: w.PeakSkinFrom,
		PeakSkinMethod: w.PeakSkinMethod, EffectiveMethod: w.EffectiveMethod, AtLeast: every(w.AtLeast, func(q Quantity) WindowAtLeast { return WindowAtLeast(q) }),
		PeakSkinMappedGy: number(w.Skin.Value, plain), PeakSkinMappedLowGy: number(w.Skin.Low, plain), PeakSkinMappedHighGy: number(w.Skin.High, plain),
		PeakSkinMappedFrom: w.Skin.From, PeakSkinMappedMethod: w.Skin.Method, PeakSkinFlagged: WindowPeakSkinFlagged(w.Skin.Flagged),
		State: WindowState(w.State), Flags: every(w.Flags, encodeFlag),
	}
	one.PeakSkinShares = []SkinShare{}
	if !w.Skin.Value.Present() {
		return one
	}
	if p := w.Skin.Place; p.Region != "" {
		one.PeakSkinMappedPlace = &struct {
			Level  string `json:"level"`
			Region string `json:"region"`
			Side   string `json:"side"`
		}{p.Level, p.Region, p.Side}
	}
	for _, s := range w.Skin.Shares {
		share := SkinShare{DoseGy: float64(s.Dose), Share: s.Share}
		if seen[s.CaseID] {
			share.ProcedureId = &s.CaseID
		}
		one.PeakSkinShares = append(one.PeakSkinShares, share)
	}
	return one
}

func encodeAccount(a store.Account) Account {
	one := Account{Id: a.ID, Name: a.Name, Role: a.Role, OwnCases: a.OwnCases, CreatedAt: a.CreatedAt, DisabledAt: moment(a.DisabledAt)}
	if a.Rooms != nil {
		one.Rooms = &a.Rooms
	}
	return one
}

func encodeToken(t store.Token) Token {
	return Token{
		Id: t.ID, Account: encodeAccount(t.Account), Prefix: t.Prefix, Purpose: t.Purpose, CreatedAt: t.CreatedAt, ExpiresAt: t.ExpiresAt,
		LastUsedAt: moment(t.LastUsedAt), RevokedAt: moment(t.RevokedAt),
	}
}

// every encodes a list; an empty one is [] and never null.
func every[A, B any](all []A, encode func(A) B) []B {
	encoded := make([]B, 0, len(all))
	for _, one := range all {
		encoded = append(encoded, encode(one))
	}
	return encoded
}

// defaultPage is the size of a page when none is asked for; the contract bounds what may be asked.
const defaultPage = 50

func pageSize(limit *int) int {
	if limit == nil {
		return defaultPage
	}
	return *limit
}

// page cuts a list that was read one longer than the page, and gives the cursor of the next page, nil on the last.
func page[T any](all []T, limit int, id func(T) string) ([]T, *string) {
	if len(all) <= limit {
		return all, nil
	}
	all = all[:limit]
	next := id(all[limit-1])
	return all, &next
}

// or gives what an optional parameter points to, or the zero value.
func or[T any](p *T) T {
	if p == nil {
		var none T
		return none
	}
	return *p
}
