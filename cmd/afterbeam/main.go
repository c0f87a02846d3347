// Command afterbeam reads X-ray radiation dose reports and says what a patient's skin and body received.
package main

import (
	"os"
	_ "time/tzdata" // the zones of sites, also on a machine without them
)

func main() {
	os.Exit(run(os.Args[1:], console{in: os.Stdin, out: os.Stdout, err: os.Stderr}))
}
