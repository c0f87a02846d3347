package rdsr_test

import (
	"os"
	"testing"

	"afterbeam/internal/report/rdsr"
)

func TestZZDump(t *testing.T) {
	for name, r := range shapes() {
		os.WriteFile("/tmp/rd/"+name+".dcm", written(t, r, rdsr.WriteOptions{}), 0o644)
	}
	os.WriteFile("/tmp/rd/single-srt.dcm", written(t, singlePlane(), rdsr.WriteOptions{CodeGeneration: rdsr.CodesSRT}), 0o644)
}
