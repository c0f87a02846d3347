package main

import (
	"bytes"
	"debug/buildinfo"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/CycloneDX/cyclonedx-go"
)

// billOfMaterials writes what a built program is made of as CycloneDX JSON: its modules as the linker wrote them into it, each with
// its licences. The same program gives the same bytes.
func billOfMaterials(file, program, version string) error {
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return fmt.Errorf("read what %s is built from: %w", program, err)
	}
	all, err := modules("./cmd/...")
	if err != nil {
		return err
	}
	root := cyclonedx.Component{
		BOMRef: "afterbeam", Type: cyclonedx.ComponentTypeApplication, Name: "afterbeam", Version: version,
		Licenses:   &cyclonedx.Licenses{{License: &cyclonedx.License{ID: "Apache-2.0"}}},
		Properties: &[]cyclonedx.Property{{Name: "go:version", Value: info.GoVersion}},
	}
	components := []cyclonedx.Component{{
		BOMRef: "pkg:golang/std@" + info.GoVersion, Type: cyclonedx.ComponentTypeLibrary, Name: "std", Version: info.GoVersion,
		PackageURL: "pkg:golang/std@" + info.GoVersion, Licenses: &cyclonedx.Licenses{{License: &cyclonedx.License{ID: "BSD-3-Clause"}}},
	}}
	for _, dep := range info.Deps {
		i := slices.IndexFunc(all, func(m module) bool { return m.Path == dep.Path && m.Version == dep.Version })
		if i < 0 {
			return fmt.Errorf("%s was built with %s %s, which this tree does not use: build it anew", program, dep.Path, dep.Version)
		}
		one, err := component(all[i], dep.Sum)
		if err != nil {
			return err
		}
		components = append(components, one)
	}
	depends := make([]string, 0, len(components))
	for _, c := range components {
		depends = append(depends, c.BOMRef)
	}
	bom := cyclonedx.NewBOM()
	bom.Metadata = &cyclonedx.Metadata{Component: &root}
	bom.Components = &components
	bom.Dependencies = &[]cyclonedx.Dependency{{Ref: root.BOMRef, Dependencies: &depends}}
	var out bytes.Buffer
	if err := cyclonedx.NewBOMEncoder(&out, cyclonedx.BOMFileFormatJSON).SetPretty(true).SetEscapeHTML(false).Encode(bom); err != nil {
		return err
	}
	return os.WriteFile(file, out.Bytes(), 0o644) // #nosec G306 -- for everybody to read
}

func component(m module, sum string) (cyclonedx.Component, error) {
	texts, err := licences(m.Dir)
	if err != nil {
		return cyclonedx.Component{}, fmt.Errorf("%s: %w", m.Path, err)
	}
	url := "pkg:golang/" + m.Path + "@" + m.Version
	c := cyclonedx.Component{
		BOMRef: url, Type: cyclonedx.ComponentTypeLibrary, Name: m.Path, Version: m.Version, PackageURL: url, Licenses: &cyclonedx.Licenses{},
		Properties: &[]cyclonedx.Property{{Name: "go:sum", Value: sum}},
	}
	for _, k := range kinds(texts) {
		*c.Licenses = append(*c.Licenses, cyclonedx.LicenseChoice{License: licence(k)})
	}
	return c, nil
}

// licence gives a kind its form: an identifier of SPDX where it is one, else words.
func licence(kind string) *cyclonedx.License {
	if strings.ContainsAny(kind, " ") {
		return &cyclonedx.License{Name: kind}
	}
	return &cyclonedx.License{ID: kind}
}

// kinds names the licences of the texts, each once.
func kinds(texts []string) (all []string) {
	for _, text := range texts {
		if k := kind(text); !slices.Contains(all, k) {
			all = append(all, k)
		}
	}
	return all
}
