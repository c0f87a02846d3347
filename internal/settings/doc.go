// Package settings reads how the service runs: one TOML file, then environment variables over it. A key that is not known
// is an error, so that a misspelt one never silently keeps its default.
package settings
