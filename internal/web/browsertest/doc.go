// Package browsertest lets tests use the pages as people do, in Debian's Chromium without a window. Tests alone use it.
//
// Open gives a Window on a service. Every step waits for what it wants to see, with a limit, and fails the test otherwise. While a
// window is open, a request to another host, a breach of the page's content security policy, and an error of a script fail the
// test too. Clicks are counted; Reach walks by keyboard alone; Axe checks with axe-core. Demo starts the demonstration's service
// once for all tests of a package, which calls Main from its TestMain.
//
// AFTERBEAM_SCREENSHOTS names a folder where Picture leaves PNG files; without it Picture does nothing.
package browsertest
