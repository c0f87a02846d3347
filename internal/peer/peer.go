// Package peer finds the outside programs that tests compare with, such as DCMTK's dcmdump.
//
// A test that needs one calls Need. On a developer's machine without the program the test is skipped and says
// which program it missed; in continuous integration (CI=1 or CI=true) a missing program is a failure, so that no
// comparison silently stops running.
package peer

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Need returns the path of an outside command. Without it the test is skipped with the reason, or fails when the
// environment says CI=1 or CI=true.
func Need(t testing.TB, command string) string {
	t.Helper()
	path, err := exec.LookPath(command)
	if err == nil {
		return path
	}
	if inCI() {
		t.Fatalf("the outside program %s is missing, and continuous integration must have it", command)
	}
	t.Skipf("the outside program %s is not installed", command)
	return ""
}

// NeedFile returns the path of a file that a package manager brings, root being the module's. Without it the test is skipped
// with how to get it, or fails in continuous integration.
func NeedFile(t testing.TB, root, name, how string) string {
	t.Helper()
	path := filepath.Join(root, filepath.FromSlash(name))
	if _, err := os.Stat(path); err == nil {
		return path
	}
	if inCI() {
		t.Fatalf("%s is missing, and continuous integration must have it: %s", name, how)
	}
	t.Skipf("%s is not there: %s", name, how)
	return ""
}

func inCI() bool {
	v := os.Getenv("CI")
	return v == "1" || v == "true"
}
