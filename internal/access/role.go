package access

import (
	"fmt"
	"slices"

	"afterbeam/internal/store"
)

// Role is what an account is for.
type Role string

// The roles.
const (
	// Physicist sees every dose, keeps profiles, facts and reviews.
	Physicist Role = "physicist"
	// Operator sees the cases of the rooms it works in.
	Operator Role = "operator"
	// Quality sees procedures and flags without names and numbers of patients.
	Quality Role = "quality"
	// Admin keeps accounts and tokens and sees no patient data.
	Admin Role = "admin"
	// Auditor reads and checks the audit record.
	Auditor Role = "auditor"
	// Service is an interface that hands in reports and asks what became of them.
	Service Role = "service"
)

// Roles lists every role.
func Roles() []Role { return []Role{Physicist, Operator, Quality, Admin, Auditor, Service} }

// Valid tells whether there is such a role.
func (r Role) Valid() bool { return slices.Contains(Roles(), r) }

// Operation is an operationId of the HTTP contract.
type Operation string

// Open lists the operations that need no token: they tell no detail.
func Open() []Operation { return []Operation{"getHealth", "getReadiness"} }

// Setup is the operation that the one-time setup token is for; no account may call it.
const Setup Operation = "useSetup"

// WholeSite lists the operations whose objects belong to no room or change what every room sees: only an account that
// sees every room may call them, and one that hands reports in.
func WholeSite() []Operation {
	return []Operation{
		"getReceipt", "listReceipts", "getReportFile", "listQuarantine", "rereadQuarantined", "discardQuarantined",
		"listReviews", "settleReview", "listLinks", "linkPatients", "unlinkPatients", "importPerformed",
		"draftLevels", "previewLevels", "approveLevels", "withdrawLevels",
		"listUnmappedNames", "draftLexicon", "previewLexicon", "publishLexicon", "withdrawLexicon",
		"listReleases", "askRelease", "getRelease", "approveRelease", "refuseRelease", "makeRelease", "getReleaseFile", "listRecipients", "revokeRecipient",
		"listPatientReleases",
		"draftProfile", "signProfile", "withdrawProfile", "checkDevice", "recompute", "listRecomputations", "getRecomputation", "listDifferences",
		"freezeBaseline", "endBaseline",
		"listAcceptances", "getAcceptance", "compareConsole", "signAcceptance",
	}
}

// CheckScope tells whether an account of the role may have these rooms, nil being every room, and may be narrowed to its
// own cases. An operator wants one or the other, so that leaving both out never opens the whole site. The roles that see
// no procedures have no rooms.
func CheckScope(role Role, rooms []string, own bool) error {
	switch {
	case !role.Valid():
		return fmt.Errorf("%w: no role %q", store.ErrInvalid, role)
	case own && role != Operator:
		return fmt.Errorf("%w: own cases are an operator's alone", store.ErrInvalid)
	case role == Operator && len(rooms) == 0 && (!own || rooms != nil):
		return fmt.Errorf("%w: an operator wants the rooms it may see, or own cases alone", store.ErrInvalid)
	case rooms != nil && !slices.Contains([]Role{Physicist, Operator, Quality}, role):
		return fmt.Errorf("%w: the role %s has no rooms", store.ErrInvalid, role)
	}
	return nil
}

// Permissions gives the roles that may call each operation. An operation that is not in it is denied to everybody.
func Permissions() map[Operation][]Role {
	return map[Operation][]Role{
		"getMe":               Roles(),
		"keepReport":          {Service, Physicist},
		"getReceipt":          {Service, Physicist},
		"listReceipts":        {Physicist},
		"getReportFile":       {Physicist},
		"listQuarantine":      {Physicist},
		"rereadQuarantined":   {Physicist},
		"discardQuarantined":  {Physicist},
		"listReviews":         {Physicist},
		"settleReview":        {Physicist},
		"listProcedures":      {Physicist, Operator, Quality},
		"countProcedures":     {Physicist, Operator, Quality},
		"getProcedure":        {Physicist, Operator, Quality},
		"addFacts":            {Physicist},
		"listFacts":           {Physicist, Operator},
		"listEvents":          {Physicist, Operator, Quality},
		"listEstimates":       {Physicist, Operator, Quality},
		"getEstimate":         {Physicist, Operator, Quality},
		"getMap":              {Physicist, Operator},
		"makePaper":           {Physicist, Operator},
		"listPapers":          {Physicist, Operator},
		"getPaper":            {Physicist, Operator},
		"getOrgans":           {Physicist, Operator},
		"searchPatients":      {Physicist, Operator},
		"getPatient":          {Physicist, Operator},
		"getPatientDose":      {Physicist, Operator},
		"planBeams":           {Physicist, Operator},
		"getPatientMap":       {Physicist, Operator},
		"listLinks":           {Physicist},
		"linkPatients":        {Physicist},
		"unlinkPatients":      {Physicist},
		"listFlags":           {Physicist, Operator, Quality},
		"listAsks":            {Physicist, Operator},
		"countAsks":           {Physicist, Operator, Quality},
		"getAsk":              {Physicist, Operator},
		"answerAsk":           {Physicist, Operator},
		"handOverAsk":         {Physicist, Operator},
		"getFollowUp":         {Physicist, Operator},
		"addOwnEstimate":      {Physicist},
		"getRaisedFlag":       {Physicist, Operator},
		"settleFlag":          {Physicist, Operator},
		"getSchedule":         {Physicist, Operator, Quality},
		"getLevels":           {Physicist, Operator, Quality},
		"listLevelSets":       {Physicist, Quality},
		"getLevelSet":         {Physicist, Quality},
		"draftLevels":         {Physicist},
		"previewLevels":       {Physicist},
		"approveLevels":       {Physicist},
		"withdrawLevels":      {Physicist},
		"getLexicon":          {Physicist, Quality},
		"listUnmappedNames":   {Physicist, Quality},
		"listLexiconVersions": {Physicist, Quality},
		"getLexiconVersion":   {Physicist, Quality},
		"draftLexicon":        {Physicist, Quality},
		"previewLexicon":      {Physicist, Quality},
		"publishLexicon":      {Physicist, Quality},
		"withdrawLexicon":     {Physicist, Quality},

		"listAccounts":    {Admin},
		"addAccount":      {Admin},
		"disableAccount":  {Admin},
		"addToken":        {Admin},
		"listTokens":      {Admin},
		"addPasswordLink": {Admin},
		"revokeToken":     {Admin},
		"listAudit":       {Auditor},
		"verifyAudit":     {Auditor},

		// What leaves takes two people; the auditor reads the log of it.
		"listReleases":        {Physicist, Quality, Auditor},
		"askRelease":          {Physicist, Quality},
		"getRelease":          {Physicist, Quality, Auditor},
		"approveRelease":      {Physicist, Quality},
		"refuseRelease":       {Physicist, Quality},
		"makeRelease":         {Physicist, Quality},
		"getReleaseFile":      {Physicist, Quality},
		"listRecipients":      {Physicist, Quality, Auditor},
		"revokeRecipient":     {Physicist, Quality},
		"listPatientReleases": {Physicist},

		"listNotices":                 {Physicist, Operator},
		"acknowledgeProcedure":        {Physicist, Operator},
		"getNotice":                   {Physicist, Operator},
		"resendNotice":                {Physicist, Operator},
		"listNoticeChannels":          {Admin},
		"getOperations":               {Admin},
		"getNoticePreferences":        {Physicist, Operator, Admin},
		"setNoticePreferences":        {Physicist, Operator, Admin},
		"getAccountNoticePreferences": {Admin},
		"setAccountNoticePreferences": {Admin},

		"importPerformed": {Service, Physicist},
		"listPerformed":   {Physicist, Quality},
		"getPerformed":    {Physicist},
		"getCompleteness": {Physicist, Quality},
		// An assignment opens cases to an account, so that the one who keeps the accounts makes it.
		"listPeople":     {Admin, Physicist, Quality},
		"listColleagues": {Physicist, Operator, Quality},
		"assignPerson":   {Admin},
		"unassignPerson": {Admin},
		"listFallbacks":  {Admin, Physicist, Quality},
		"setFallback":    {Admin},

		"listDevices":        {Physicist, Operator, Quality, Admin},
		"listSilentDevices":  {Physicist, Operator, Quality, Admin},
		"getDevice":          {Physicist, Operator, Quality, Admin},
		"listProfiles":       {Physicist, Operator, Quality, Admin},
		"draftProfile":       {Physicist},
		"signProfile":        {Physicist},
		"withdrawProfile":    {Physicist},
		"checkDevice":        {Physicist},
		"listDeviceChecks":   {Physicist},
		"getCheckSheet":      {Physicist},
		"listAcceptances":    {Physicist},
		"getAcceptance":      {Physicist},
		"compareConsole":     {Physicist},
		"signAcceptance":     {Physicist},
		"recompute":          {Physicist},
		"listRecomputations": {Physicist},
		// Who publishes a lexicon sees what became of it.
		"getRecomputation": {Physicist, Quality},
		"listDifferences":  {Physicist, Quality},

		"getSummary":       {Physicist, Operator, Quality},
		"listCaseReviews":  {Physicist, Quality},
		"reviewCase":       {Physicist, Quality},
		"listActions":      {Physicist, Operator, Quality},
		"agreeAction":      {Physicist, Quality},
		"getAction":        {Physicist, Operator, Quality},
		"changeAction":     {Physicist, Quality},
		"listBaselines":    {Physicist, Quality},
		"freezeBaseline":   {Physicist, Quality},
		"exportProcedures": {Physicist, Quality},
		"exportEvents":     {Physicist, Quality},
		"endBaseline":      {Physicist, Quality},

		"getProcedureFhir":   {Physicist, Operator},
		"readCapabilities":   Roles(),
		"readObservation":    {Physicist, Operator},
		"searchObservations": {Physicist, Operator},
		"findObservations":   {Physicist, Operator},
		"readReport":         {Physicist, Operator},
		"readProvenance":     {Physicist, Operator},
		"readEquipment":      {Physicist, Operator, Quality, Admin},
		"searchEquipment":    {Physicist, Operator, Quality, Admin},
		"readPatientRecord":  {Physicist, Operator},
		"findPatientRecords": {Physicist, Operator},

		"storeInstances":           {Service, Physicist},
		"storeStudyInstances":      {Service, Physicist},
		"searchStudies":            {Physicist},
		"searchSeries":             {Physicist},
		"searchInstances":          {Physicist},
		"searchStudySeries":        {Physicist},
		"searchStudyInstances":     {Physicist},
		"searchSeriesInstances":    {Physicist},
		"retrieveStudy":            {Physicist},
		"retrieveSeries":           {Physicist},
		"retrieveInstance":         {Physicist},
		"retrieveStudyMetadata":    {Physicist},
		"retrieveSeriesMetadata":   {Physicist},
		"retrieveInstanceMetadata": {Physicist},
	}
}
