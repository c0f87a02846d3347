package web

import "net/http"

// policy lets a page load its own style, scripts and pictures and ask its own service, and nothing else: no inline script or
// style, no frame, no plugin, no other host (Content Security Policy level 3).
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; " +
	"base-uri 'none'; object-src 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"

// permissions takes from a page what it never uses.
const permissions = "camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=(), hid=(), midi=(), display-capture=()"

// setHeaders sets what a page needs beside the headers of every answer.
func setHeaders(h http.Header, secure bool) {
	h.Set("Content-Security-Policy", policy)
	h.Set("Permissions-Policy", permissions)
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Vary", "Cookie, Accept-Language")
	if !secure {
		h.Del("Strict-Transport-Security") // without encryption a browser ignores it, and it would be a promise
	}
}
