package upper

// The syntaxes that every implementation knows (PS3.6 annex A).
const (
	ApplicationContext = "1.2.840.10008.3.1.1.1"
	Verification       = "1.2.840.10008.1.1"
	ImplicitLittle     = "1.2.840.10008.1.2"
	ExplicitLittle     = "1.2.840.10008.1.2.1"
	DeflatedLittle     = "1.2.840.10008.1.2.1.99"
	ExplicitBig        = "1.2.840.10008.1.2.2"
)

// Name and UID of this implementation as peers see it (PS3.7 D.3.3.2). The UID is derived from a UUID (PS3.5 B.2), so it
// needs no registered root.
const (
	ImplementationUID     = "2.25.262913804517060433862935714026873559173"
	ImplementationVersion = "AFTERBEAM"
)
