// Package web serves the pages that people see: made on the server, in several languages, with nothing from outside.
//
// Site.Mount puts them beside the operations of the HTTP interface. A page is one value of the type page: a route, a template,
// and a function that gets its data from those same operations by ask, for the person who signed in, so that numbers,
// rights, rooms and audit are those of the interface. How people sign in stands in signin.go, session.go and openid.go.
package web
