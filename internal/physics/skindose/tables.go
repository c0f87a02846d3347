package skindose

// Tables gives the embedded tables by name, so that a program can say which ones it holds.
func Tables() map[string]string {
	return map[string]string{
		"totals":    totalsCSV,
		"published": publishedCSV,
	}
}
