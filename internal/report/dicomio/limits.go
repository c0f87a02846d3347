package dicomio

// Limits bounds what is read. The zero value refuses everything; start from DefaultLimits. With the defaults the whole
// process of one read peaks below 64 MB + 12 x file, of a deflated file the inflated one (measured by TestMemory).
type Limits struct {
	FileBytes        int64 // size of the received file
	InflatedBytes    int64 // size of a deflated data set once inflated
	InflatedRatio    int64 // inflated size over deflated size, looked at above inflatedFree
	Elements         int   // elements and items of the whole file
	ItemsPerSequence int
	Depth            int // sequences inside sequences
	// DecodedBase and DecodedFactor bound the memory of the decoded data set, as the guard counts it before decoding:
	// at most DecodedBase + DecodedFactor x size of the (inflated) file.
	DecodedBase   int64
	DecodedFactor int64
}

// The defaults: far above any dose report (a thousand irradiation events take some 8 MB), far below what hurts.
const (
	DefaultFileBytes        = 48 << 20
	DefaultInflatedBytes    = 256 << 20
	DefaultInflatedRatio    = 100
	DefaultElements         = 3_000_000
	DefaultItemsPerSequence = 10_000
	DefaultDepth            = 32
	DefaultDecodedBase      = 24 << 20
	DefaultDecodedFactor    = 8
)

// inflatedFree is the inflated size up to which no ratio is asked for: small data sets of repeated text deflate well.
const inflatedFree = 8 << 20

// DefaultLimits gives the default limits.
func DefaultLimits() Limits {
	return Limits{
		FileBytes:        DefaultFileBytes,
		InflatedBytes:    DefaultInflatedBytes,
		InflatedRatio:    DefaultInflatedRatio,
		Elements:         DefaultElements,
		ItemsPerSequence: DefaultItemsPerSequence,
		Depth:            DefaultDepth,
		DecodedBase:      DefaultDecodedBase,
		DecodedFactor:    DefaultDecodedFactor,
	}
}
