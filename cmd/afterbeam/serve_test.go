package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/settings"
)

func TestTheSetupIsAskedForWhereTheServiceIs(t *testing.T) {
	for name, tt := range map[string]struct {
		settings settings.HTTP
		want     string
	}{
		"loopback":            {settings.HTTP{Listen: "127.0.0.1:8480"}, "http://127.0.0.1:8480"},
		"loopback, version 6": {settings.HTTP{Listen: "[::1]:8480"}, "http://[::1]:8480"},
		"behind a proxy":      {settings.HTTP{Listen: "0.0.0.0:8480", BehindProxy: true}, "http://localhost:8480"},
		"every address":       {settings.HTTP{Listen: ":8480", Certificate: "c.pem"}, "https://NAME-IN-CERTIFICATE:8480"},
		"one name":            {settings.HTTP{Listen: "dose.example:443", Certificate: "c.pem"}, "https://dose.example:443"},
	} {
		assert.Equal(t, tt.want, reachedAt(tt.settings), name)
	}
}
