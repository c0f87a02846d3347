package conformance

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func identityTests() []test {
	return []test{
		{"number and issuer make a patient", numberAndIssuer},
		{"another birth date or sex is a patient of its own", mismatch},
		{"one number with and without an issuer is reviewed", otherIssuer},
		{"reviews of issuers do not depend on the order", issuersInAnyOrder},
		{"whatever comes first, an ambiguous number waits in review", ambiguousInAnyOrder},
		{"absent fields are filled and never overwritten", absentFields},
		{"where several could be meant none is guessed", ambiguous},
		{"without a number the study joins", noNumber},
		{"one instance with two contents is reviewed", sameInstance},
		{"one content under two headers is reviewed", sameContent},
		{"reports of a study come back as they were saved", reportsOfStudy},
		{"reviews are settled with a reason", reviews},
	}
}

func (s *site) openReviews(t *testing.T) []store.Review {
	t.Helper()
	all, err := s.db.Reviews(ctx(), "", 1000)
	require.NoError(t, err)
	return all
}

func kindsOf(reviews []store.Review) []store.ReviewKind {
	var kinds []store.ReviewKind
	for _, r := range reviews {
		kinds = append(kinds, r.Kind)
	}
	return kinds
}

func numberAndIssuer(t *testing.T, s *site) {
	who := store.Identity{Number: "4711", Issuer: "Saltmarsh", Name: "Demo^One", BirthDate: "1948-02-29", Sex: "M"}
	first := s.read(t, "2.25.1", who).PatientID
	assert.Equal(t, first, s.read(t, "2.25.2", who).PatientID, "another study of the same patient")
	other := who
	other.Issuer, other.BirthDate = "Elsewhere", "1960-01-01"
	stranger := s.read(t, "2.25.3", other).PatientID
	assert.NotEqual(t, first, stranger, "the same number of another issuer is another patient")
	assert.Empty(t, s.openReviews(t))
	p, err := s.db.Patient(ctx(), first)
	require.NoError(t, err)
	assert.Equal(t, who, p.Identity)
	assert.Equal(t, first, p.Survivor)
	found, err := s.db.FindPatients(ctx(), "4711", "")
	require.NoError(t, err)
	assert.Len(t, found, 2)
	found, err = s.db.FindPatients(ctx(), "4711", "Elsewhere")
	require.NoError(t, err)
	require.Len(t, found, 1)
	assert.Equal(t, stranger, found[0].ID)
	_, err = s.db.FindPatients(ctx(), "", "Saltmarsh")
	require.ErrorIs(t, err, store.ErrInvalid)
	_, err = s.db.Patient(ctx(), "no such patient")
	require.ErrorIs(t, err, store.ErrNotFound)
}

// otherIssuer has one number with two issuers and with none. Whichever comes first, the later ones are patients of their
// own, and what asks for one of them is told that reviews wait.
func otherIssuer(t *testing.T, s *site) {
	for i, order := range [][]string{{"Saltmarsh", ""}, {"", "Saltmarsh"}, {"Saltmarsh", "Elsewhere"}} {
		number := fmt.Sprint(i)
		var patients []string
		for j, issuer := range order {
			who := store.Identity{Number: number, Issuer: issuer, BirthDate: "1948-02-29", Sex: "M"}
			patients = append(patients, s.read(t, fmt.Sprintf("2.25.%d.%d", i, j), who).PatientID)
		}
		assert.NotEqual(t, patients[0], patients[1])
		open := s.openReviews(t)
		require.Len(t, open, 1, "%q", order)
		assert.Equal(t, store.ReviewIssuer, open[0].Kind)
		assert.Equal(t, patients[1], open[0].PatientID)
		for _, id := range patients {
			reviews, err := s.db.IdentityReviews(ctx(), id)
			require.NoError(t, err)
			assert.Equal(t, []string{open[0].ID}, reviews, "both records tell of it")
		}
		require.NoError(t, s.db.SettleReview(ctx(), person, open[0].ID, "linked"))
		reviews, err := s.db.IdentityReviews(ctx(), patients[0])
		require.NoError(t, err)
		assert.Empty(t, reviews)
	}
	// What speaks against one person is two, without a word.
	s.read(t, "2.25.8", store.Identity{Number: "8", Issuer: "Saltmarsh", BirthDate: "1948-02-29", Sex: "M"})
	s.read(t, "2.25.9", store.Identity{Number: "8", BirthDate: "1949-02-28", Sex: "M"})
	s.read(t, "2.25.10", store.Identity{Number: "8", Issuer: "Elsewhere", Sex: "M"})
	assert.Empty(t, kindsOf(s.openReviews(t))[1:], "only the one without birth date may be the one without issuer")
}

// permutations gives every order of three.
func permutations() [][3]int {
	return [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}}
}

// inOrder reads three reports of a number of their own in an order, and gives their patients as the reports are numbered.
func (s *site) inOrder(t *testing.T, number string, who [3]store.Identity, order [3]int) [3]string {
	t.Helper()
	var patients [3]string
	for _, i := range order {
		who[i].Number = number
		patients[i] = s.read(t, fmt.Sprintf("2.25.%s.%d", number, i), who[i]).PatientID
	}
	return patients
}

// tell wants every patient to be told of open reviews.
func (s *site) tell(t *testing.T, patients [3]string, order [3]int) {
	t.Helper()
	for i, id := range patients {
		reviews, err := s.db.IdentityReviews(ctx(), id)
		require.NoError(t, err)
		assert.NotEmpty(t, reviews, "record of report %d, order %v", i, order)
	}
}

// issuersInAnyOrder has a record that gets its birth date by a later report, and one of another issuer with that date.
func issuersInAnyOrder(t *testing.T, s *site) {
	for n, order := range permutations() {
		patients := s.inOrder(t, fmt.Sprint(10+n), [3]store.Identity{
			{Issuer: "Saltmarsh", Sex: "M"}, {Issuer: "Saltmarsh", BirthDate: "1948-02-29", Sex: "M"}, {Issuer: "Elsewhere", BirthDate: "1948-02-29", Sex: "M"},
		}, order)
		assert.Equal(t, patients[0], patients[1])
		assert.NotEqual(t, patients[0], patients[2])
		s.tell(t, patients, order)
		open := s.openReviews(t)
		assert.Len(t, open, n+1, "one for each number: %v", order)
		assert.Equal(t, store.ReviewIssuer, open[n].Kind)
	}
}

// ambiguousInAnyOrder has two persons with one number and a report that may be of either: which record that joins depends
// on what was known when it came, and in every order a review says so with each of them.
func ambiguousInAnyOrder(t *testing.T, s *site) {
	for n, order := range permutations() {
		patients := s.inOrder(t, fmt.Sprint(30+n), [3]store.Identity{
			{Issuer: "Saltmarsh", BirthDate: "1950-01-01"}, {Issuer: "Saltmarsh", BirthDate: "1960-01-01"}, {Issuer: "Saltmarsh"},
		}, order)
		assert.NotEqual(t, patients[0], patients[1])
		s.tell(t, patients, order)
	}
}

func mismatch(t *testing.T, s *site) {
	who := store.Identity{Number: "1", Issuer: "I", BirthDate: "1950-01-01", Sex: "F"}
	first := s.read(t, "2.25.1", who).PatientID
	later := who
	later.BirthDate = "1960-01-01"
	second := s.read(t, "2.25.2", later).PatientID
	man := who
	man.Sex = "M"
	third := s.read(t, "2.25.3", man).PatientID
	assert.NotEqual(t, first, second)
	assert.NotEqual(t, first, third)
	assert.NotEqual(t, second, third)
	open := s.openReviews(t)
	require.Equal(t, []store.ReviewKind{store.ReviewIdentity, store.ReviewIdentity}, kindsOf(open))
	assert.Equal(t, second, open[0].PatientID)
	assert.NotContains(t, open[0].Detail, "1960", "no patient data in a review's text")
	assert.Equal(t, first, s.read(t, "2.25.4", who).PatientID, "each still finds its own")
	assert.Equal(t, second, s.read(t, "2.25.5", later).PatientID)
	assert.Len(t, s.openReviews(t), 2)
}

func absentFields(t *testing.T, s *site) {
	bare := store.Identity{Number: "1", Issuer: "I"}
	whole := store.Identity{Number: "1", Issuer: "I", Name: "Demo^Two", BirthDate: "1950-01-01", Sex: "F"}
	id := s.read(t, "2.25.1", bare).PatientID
	assert.Equal(t, id, s.read(t, "2.25.2", whole).PatientID)
	renamed := whole
	renamed.Name = "Demo^Married"
	assert.Equal(t, id, s.read(t, "2.25.3", renamed).PatientID)
	assert.Equal(t, id, s.read(t, "2.25.4", bare).PatientID)
	p, err := s.db.Patient(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, whole, p.Identity, "filled by the second report, not changed by the third")
	assert.Empty(t, s.openReviews(t))
}

func ambiguous(t *testing.T, s *site) {
	first := s.read(t, "2.25.1", store.Identity{Number: "1", Issuer: "I", BirthDate: "1950-01-01"}).PatientID
	second := s.read(t, "2.25.2", store.Identity{Number: "1", Issuer: "I", BirthDate: "1960-01-01"}).PatientID
	unknown := s.read(t, "2.25.3", store.Identity{Number: "1", Issuer: "I"}).PatientID
	assert.NotContains(t, []string{first, second}, unknown)
	require.Len(t, s.openReviews(t), 2)
	assert.Equal(t, unknown, s.read(t, "2.25.4", store.Identity{Number: "1", Issuer: "I"}).PatientID, "not one more patient with each report")
	assert.Equal(t, first, s.read(t, "2.25.5", store.Identity{Number: "1", Issuer: "I", BirthDate: "1950-01-01"}).PatientID)
	assert.Len(t, s.openReviews(t), 2)
}

func noNumber(t *testing.T, s *site) {
	who := store.Identity{Name: "Demo^Nameless", BirthDate: "1950-01-01"}
	first := s.read(t, "2.25.1", who)
	again := s.read(t, "2.25.1", who)
	other := s.read(t, "2.25.2", who)
	assert.Equal(t, first.PatientID, again.PatientID)
	assert.NotEqual(t, first.PatientID, other.PatientID)
	assert.Equal(t, []store.ReviewKind{store.ReviewNoNumber, store.ReviewNoNumber, store.ReviewNoNumber}, kindsOf(s.openReviews(t)))
}

func sameInstance(t *testing.T, s *site) {
	who := store.Identity{Number: "1", Issuer: "I"}
	r := store.Report{SOPInstance: "2.25.5", DataSetDigest: "one", ContentDigest: "content one", StudyUID: "2.25.1", Body: []byte("1")}
	s.readAs(t, r, who)
	s.readAs(t, r, who)
	assert.Empty(t, s.openReviews(t), "the same data set in another file is nothing to review")
	r.DataSetDigest, r.ContentDigest = "two", "content two"
	second := s.readAs(t, r, who)
	open := s.openReviews(t)
	require.Equal(t, []store.ReviewKind{store.ReviewSameInstance}, kindsOf(open))
	assert.Equal(t, second.ID, open[0].ReportID)
	all, err := s.db.ReportsOfStudy(ctx(), "2.25.1")
	require.NoError(t, err)
	assert.Len(t, all, 3, "all are kept")
}

func sameContent(t *testing.T, s *site) {
	r := store.Report{SOPInstance: "2.25.5", DataSetDigest: "one", ContentDigest: "content", StudyUID: "2.25.1", Body: []byte("1")}
	s.readAs(t, r, store.Identity{Number: "1", Issuer: "I"})
	r.SOPInstance, r.DataSetDigest = "2.25.6", "two"
	s.readAs(t, r, store.Identity{Number: "2", Issuer: "I"})
	assert.Equal(t, []store.ReviewKind{store.ReviewSameContent}, kindsOf(s.openReviews(t)))
}

func reportsOfStudy(t *testing.T, s *site) {
	who := store.Identity{Number: "1", Issuer: "I"}
	saved := s.read(t, "2.25.1", who)
	s.read(t, "2.25.2", who)
	all, err := s.db.ReportsOfStudy(ctx(), "2.25.1")
	require.NoError(t, err)
	require.Len(t, all, 1)
	receipt, err := s.db.Receipt(ctx(), saved.ReceiptID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptRead, receipt.State)
	assert.Equal(t, receipt.ReceivedAt, all[0].ReceivedAt)
	assert.Equal(t, "Hybrid 1", all[0].DeviceKey)
	assert.Zero(t, all[0].ContentAt.Nanosecond()%1000)
	assert.NotEmpty(t, all[0].Body)
	none, err := s.db.ReportsOfStudy(ctx(), "2.25.404")
	require.NoError(t, err)
	assert.Empty(t, none)
}

func reviews(t *testing.T, s *site) {
	for range 5 {
		s.read(t, "2.25.1", store.Identity{})
	}
	all := s.openReviews(t)
	require.Len(t, all, 5)
	page, err := s.db.Reviews(ctx(), all[1].ID, 2)
	require.NoError(t, err)
	assert.Equal(t, all[2:4], page)
	require.ErrorIs(t, s.db.SettleReview(ctx(), person, all[2].ID, ""), store.ErrInvalid)
	require.NoError(t, s.db.SettleReview(ctx(), person, all[2].ID, "the same person"))
	assert.Equal(t, "review.settle", s.last(t).Action)
	require.ErrorIs(t, s.db.SettleReview(ctx(), person, all[2].ID, "twice"), store.ErrNotFound)
	page, err = s.db.Reviews(ctx(), all[1].ID, 2)
	require.NoError(t, err)
	assert.Equal(t, all[3:5], page, "a settled one is left out")
	page, err = s.db.Reviews(ctx(), all[2].ID, 2)
	require.NoError(t, err)
	assert.Equal(t, all[3:5], page, "and is still a place in the list")
}
