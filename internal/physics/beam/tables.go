package beam

// Tables gives the embedded tables by name, so that a program can say which ones it holds.
func Tables() map[string]string {
	return map[string]string{
		"tungsten":      tungstenCSV,
		"backscatter":   backscatterCSV,
		"attenuation":   attenuationCSV,
		"skull":         skullCSV,
		"oblique":       obliqueCSV,
		"table scatter": tableScatterCSV,
	}
}
