// Package debian_test makes what is handed to a site, looks into it, installs it into a scratch tree and runs it from there.
package debian_test

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/CycloneDX/cyclonedx-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

const version = "v1.2.3-4-gabcdef0"

// ran runs a command and gives what it printed. What the environment sets of the program's own is left out: that is about the
// tests.
func ran(t *testing.T, environment []string, name string, arguments ...string) string {
	t.Helper()
	command := exec.Command(name, arguments...)
	command.Env = append(slices.DeleteFunc(os.Environ(), func(v string) bool { return strings.HasPrefix(v, "AFTERBEAM_") }), environment...)
	out, err := command.CombinedOutput()
	require.NoError(t, err, "%s %v: %s", name, arguments, out)
	return string(out)
}

// packaged builds the program and packages it, and gives the folder and the program.
func packaged(t *testing.T) (dist, program string) {
	t.Helper()
	peer.Need(t, "dpkg-deb")
	dist, program = t.TempDir(), filepath.Join(t.TempDir(), "afterbeam")
	ran(t, []string{"CGO_ENABLED=0"}, "go", "build", "-trimpath", "-ldflags", "-s -w -X main.version="+version, "-o", program, "../../cmd/afterbeam")
	packageInto(t, dist, program)
	return dist, program
}

func packageInto(t *testing.T, dist, program string) {
	t.Helper()
	ran(t, []string{"DIST=" + dist, "SOURCE_DATE_EPOCH=1790000000"}, "../package.sh", "all", program, version)
}

func one(t *testing.T, dist, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dist, pattern))
	require.NoError(t, err)
	require.Len(t, found, 1, pattern)
	return found[0]
}

func TestPackage(t *testing.T) {
	dist, program := packaged(t)
	deb := one(t, dist, "*.deb")
	assert.Equal(t, "afterbeam_1.2.3+4+gabcdef0_"+strings.TrimSpace(ran(t, nil, "go", "env", "GOARCH"))+".deb", filepath.Base(deb))

	t.Run("what it says and holds", func(t *testing.T) {
		info, contents := ran(t, nil, "dpkg-deb", "--info", deb), ran(t, nil, "dpkg-deb", "--contents", deb)
		for _, text := range []string{"Package: afterbeam", "Version: 1.2.3+4+gabcdef0", "Depends: adduser", "conffiles", "md5sums", "postinst", "postrm"} {
			assert.Contains(t, info, text)
		}
		for _, text := range []string{
			"-rwxr-xr-x root/root", "./usr/bin/afterbeam", "./usr/lib/systemd/system/afterbeam.service", "./etc/afterbeam/afterbeam.toml",
			"./usr/share/man/man1/afterbeam.1.gz", "./usr/share/doc/afterbeam/LICENCES.txt.gz", "./usr/share/doc/afterbeam/afterbeam.cdx.json", "./usr/share/doc/afterbeam/copyright",
		} {
			assert.Contains(t, contents, text)
		}
		assert.NotContains(t, contents, "/var/lib", "the store is none of the package's files")
	})
	t.Run("sums", func(t *testing.T) { sums(t, dist) })
	t.Run("again the same bytes", func(t *testing.T) {
		if os.Getenv("CI") == "" {
			t.Skip("runs under CI: packaging once more takes as long as the first time")
		}
		again := t.TempDir()
		packageInto(t, again, program)
		want, err := os.ReadFile(filepath.Join(dist, "SHA256SUMS"))
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(again, "SHA256SUMS"))
		require.NoError(t, err)
		assert.Equal(t, string(want), string(got))
	})
	t.Run("installed, run, purged", func(t *testing.T) { installed(t, deb) })
	t.Run("tarball", func(t *testing.T) {
		dir := t.TempDir()
		ran(t, nil, "tar", "-xzf", one(t, dist, "*.tar.gz"), "-C", dir)
		assert.Contains(t, ran(t, nil, filepath.Join(one(t, dir, "afterbeam-*"), "afterbeam"), "version"), "afterbeam "+version)
	})
	t.Run("lintian", func(t *testing.T) {
		out, _ := exec.Command(peer.Need(t, "lintian"), "--fail-on", "none", deb).CombinedOutput()
		var wrong []string
		for line := range strings.Lines(string(out)) {
			// A static program is what is wanted, and whoever packages it has an address of their own.
			if strings.HasPrefix(line, "E:") && !strings.Contains(line, "statically-linked-binary") && !strings.Contains(line, "bogus-mail-host") {
				wrong = append(wrong, line)
			}
		}
		assert.Empty(t, wrong)
	})
	t.Run("bill of materials", func(t *testing.T) { billed(t, dist) })
}

func sums(t *testing.T, dist string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dist, "SHA256SUMS"))
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	assert.Len(t, lines, 4)
	for _, line := range lines {
		want, name, _ := strings.Cut(line, "  ")
		content, err := os.ReadFile(filepath.Join(dist, name))
		require.NoError(t, err)
		got := sha256.Sum256(content)
		assert.Equal(t, want, hex.EncodeToString(got[:]), name)
	}
}

// installed puts the package into a tree of its own, runs the program from there with the settings from there, and purges it.
func installed(t *testing.T, deb string) {
	t.Helper()
	peer.Need(t, "dpkg")
	root := t.TempDir()
	for _, dir := range []string{"info", "updates"} {
		require.NoError(t, os.MkdirAll(filepath.Join(root, "var/lib/dpkg", dir), 0o755))
	}
	require.NoError(t, os.WriteFile(filepath.Join(root, "var/lib/dpkg/status"), nil, 0o600))
	dpkg := func(arguments ...string) string {
		return ran(t, []string{"PATH=" + os.Getenv("PATH") + ":/usr/sbin:/sbin"}, "dpkg", append([]string{"--root=" + root, "--force-script-chrootless", "--force-not-root", "--force-depends", "--log=" + filepath.Join(root, "log")}, arguments...)...)
	}
	dpkg("--install", deb)
	assert.Contains(t, dpkg("--status", "afterbeam"), "Status: install ok installed")
	program := filepath.Join(root, "usr/bin/afterbeam")
	assert.Contains(t, ran(t, nil, program, "version"), "afterbeam "+version)
	store := filepath.Join(root, "var/lib/afterbeam")
	config := filepath.Join(root, "etc/afterbeam/afterbeam.toml")
	assert.Contains(t, ran(t, []string{"AFTERBEAM_STORE_DIR=" + store}, program, "check-config", "--config", config), store)
	require.NoError(t, os.WriteFile(filepath.Join(store, "afterbeam.db"), []byte("what patients received"), 0o600))
	dpkg("--verify", "afterbeam")
	assert.Contains(t, dpkg("--purge", "afterbeam"), "/var/lib/afterbeam is kept")
	assert.NoFileExists(t, program)
	assert.NoFileExists(t, config)
	assert.FileExists(t, filepath.Join(store, "afterbeam.db"), "purging leaves the store")
}

// TestAccountOfTheService runs the script that follows an installation with stand-ins for what it calls.
func TestAccountOfTheService(t *testing.T) {
	for name, tt := range map[string]struct {
		there string // whether the account is there: the status of getent
		want  bool
	}{
		"first":   {"2", true},
		"upgrade": {"0", false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			calls := filepath.Join(dir, "calls")
			for command, status := range map[string]string{"getent": tt.there, "adduser": "0", "install": "0", "systemctl": "0"} {
				require.NoError(t, os.WriteFile(filepath.Join(dir, command), []byte("#!/bin/sh\necho \""+command+" $*\" >>"+calls+"\nexit "+status+"\n"), 0o755))
			}
			command := exec.Command("/bin/sh", "postinst", "configure")
			command.Env = []string{"PATH=" + dir}
			out, err := command.CombinedOutput()
			require.NoError(t, err, string(out))
			text, err := os.ReadFile(calls)
			require.NoError(t, err)
			assert.Equal(t, tt.want, strings.Contains(string(text), "adduser --system --group --home /var/lib/afterbeam --no-create-home --quiet afterbeam"))
		})
	}
}

// billed compares the bill of materials with NOTICE: the same modules of the program, with the same licences.
func billed(t *testing.T, dist string) {
	t.Helper()
	file, err := os.Open(filepath.Join(dist, "afterbeam.cdx.json"))
	require.NoError(t, err)
	defer func() { require.NoError(t, file.Close()) }()
	var bom cyclonedx.BOM
	require.NoError(t, cyclonedx.NewBOMDecoder(file, cyclonedx.BOMFileFormatJSON).Decode(&bom))
	assert.Equal(t, version, bom.Metadata.Component.Version)
	var got []string
	for _, c := range *bom.Components {
		if c.Name == "std" {
			continue // the standard library is in NOTICE as the language that the program is built with
		}
		var kinds []string
		for _, l := range *c.Licenses {
			kinds = append(kinds, l.License.ID+l.License.Name)
		}
		got = append(got, c.Name+" "+c.Version+": "+strings.Join(kinds, "; "))
		assert.Equal(t, "pkg:golang/"+c.Name+"@"+c.Version, c.PackageURL)
	}
	notice, err := os.ReadFile("../../NOTICE")
	require.NoError(t, err)
	var want []string
	_, list, _ := strings.Cut(string(notice), "make notice\".\n")
	for entry := range strings.SplitSeq(strings.TrimSpace(list), "\n\n") {
		lines := strings.Split(entry, "\n")
		if !strings.HasSuffix(lines[0], " (tests)") {
			want = append(want, lines[0]+": "+strings.TrimSpace(lines[1]))
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	assert.Equal(t, want, got)
}
