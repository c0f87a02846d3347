package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"

	"github.com/labstack/echo/v4"
)

//go:embed static/*
var staticFiles embed.FS

// assetPath is where files of static/ are served, each under a name with the digest of its content, so that a browser may
// keep it and never has the wrong one.
const assetPath = "/static/"

type assets struct {
	byName  map[string]string // served name by file name
	content map[string]asset  // by served name
}

type asset struct {
	contentType string
	body        []byte
}

func loadAssets() (assets, error) {
	a := assets{map[string]string{}, map[string]asset{}}
	files, err := fs.ReadDir(staticFiles, "static")
	if err != nil {
		return a, err
	}
	for _, f := range files {
		body, err := fs.ReadFile(staticFiles, "static/"+f.Name())
		if err != nil {
			return a, err
		}
		sum := sha256.Sum256(body)
		ending := path.Ext(f.Name())
		served := strings.TrimSuffix(f.Name(), ending) + "." + hex.EncodeToString(sum[:6]) + ending
		a.byName[f.Name()] = served
		a.content[served] = asset{mime.TypeByExtension(ending), body}
	}
	return a, nil
}

func (a assets) path(name string) (string, error) {
	served, ok := a.byName[name]
	if !ok {
		return "", fmt.Errorf("no file static/%s", name)
	}
	return assetPath + served, nil
}

func (a assets) serve(c echo.Context) error {
	one, ok := a.content[c.Param("name")]
	if !ok {
		return echo.ErrNotFound
	}
	setHeaders(c.Response().Header(), true)
	c.Response().Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	return c.Blob(http.StatusOK, one.contentType, one.body)
}
