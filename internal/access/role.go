package access

import "slices"

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

// Permissions gives the roles that may call each operation. An operation that is not in it is denied to everybody.
func Permissions() map[Operation][]Role {
	return map[Operation][]Role{
		"getMe":              Roles(),
		"keepReport":         {Service, Physicist},
		"getReceipt":         {Service, Physicist},
		"listReceipts":       {Physicist},
		"getReportFile":      {Physicist},
		"listQuarantine":     {Physicist},
		"rereadQuarantined":  {Physicist},
		"discardQuarantined": {Physicist},
		"listReviews":        {Physicist},
		"settleReview":       {Physicist},
		"listProcedures":     {Physicist, Operator, Quality},
		"getProcedure":       {Physicist, Operator, Quality},
		"addFacts":           {Physicist},
		"listFacts":          {Physicist, Operator},
		"listEvents":         {Physicist, Operator, Quality},
		"listEstimates":      {Physicist, Operator, Quality},
		"getEstimate":        {Physicist, Operator, Quality},
		"getMap":             {Physicist, Operator},
		"searchPatients":     {Physicist, Operator},
		"getPatient":         {Physicist, Operator},
		"getPatientDose":     {Physicist, Operator},
		"listLinks":          {Physicist},
		"linkPatients":       {Physicist},
		"unlinkPatients":     {Physicist},
		"listFlags":          {Physicist, Operator, Quality},
		"listAccounts":       {Admin},
		"addAccount":         {Admin},
		"disableAccount":     {Admin},
		"addToken":           {Admin},
		"listTokens":         {Admin},
		"revokeToken":        {Admin},
		"listAudit":          {Auditor},
		"verifyAudit":        {Auditor},
	}
}
