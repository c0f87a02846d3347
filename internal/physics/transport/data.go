package transport

import _ "embed"

//go:embed data/coefficients.csv
var coefficientsCSV string

//go:embed data/scattering.csv
var scatteringCSV string

//go:embed data/regions.csv
var regionsCSV string

//go:embed data/quadrics.csv
var quadricsCSV string
