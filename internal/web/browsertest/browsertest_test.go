package browsertest_test

import (
	"net/http"
	"net/http/httptest"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/web/browsertest"
)

func TestMain(m *testing.M) { os.Exit(browsertest.Main(m)) }

// TestTheChecksFindSomething shows that axe-core runs, and that a page that is right in its eyes has no finding.
func TestTheChecksFindSomething(t *testing.T) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		page := `<!doctype html><html lang="en"><title>t</title><body><main><h1>Right</h1></main></body></html>`
		if r.URL.Path == "/wrong" {
			page = `<!doctype html><html><title>t</title><body><main><h1>Wrong</h1><img src="/x.png"><p style="color:#aaa;background:#fff">pale</p></main></body></html>`
		}
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte(page))
	}))
	t.Cleanup(server.Close)
	w := browsertest.Open(t, server.URL)
	w.Go("/")
	assert.Empty(t, w.Findings())
	w.Go("/wrong")
	var rules []string
	for _, f := range w.Findings() {
		rules = append(rules, f.ID)
	}
	assert.Subset(t, rules, []string{"color-contrast", "html-has-lang", "image-alt"})
}
