//go:build !race

package browsertest

// raced tells a build for the race detector.
const raced = false
