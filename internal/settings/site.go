package settings

// Site is what the centre says of itself on paper. Centre and Phone are wanted before a paper for a patient is made: it says
// whom to call.
type Site struct {
	Centre     string `toml:"centre" env:"AFTERBEAM_SITE_CENTRE"`
	Department string `toml:"department" env:"AFTERBEAM_SITE_DEPARTMENT"`
	// Phone and Hours say whom a patient calls about the skin, and when.
	Phone string `toml:"phone" env:"AFTERBEAM_SITE_PHONE"`
	Hours string `toml:"hours" env:"AFTERBEAM_SITE_HOURS"`
	Mail  string `toml:"mail" env:"AFTERBEAM_SITE_MAIL"`
	// Address are the lines under the centre's name.
	Address []string `toml:"address"`
	// Language (a tag such as en or de) and PaperSize (a4 or letter) are those of papers where none is asked for.
	Language  string `toml:"language" env:"AFTERBEAM_SITE_LANGUAGE"`
	PaperSize string `toml:"paper_size" env:"AFTERBEAM_SITE_PAPER_SIZE"`
}
