// Package fetchevent serves an http.Handler to the fetch events of a service
// worker. The handler runs compiled to WebAssembly (GOOS=js) inside the worker;
// elsewhere the package is empty.
//
// The worker's script and the program meet in one function. Before it starts
// the program, the script defines
//
//	globalThis.serveFetchEvents = (answer) => { ... }
//
// and [Host.Serve] calls it once, when the program is ready. answer takes a
// Request and returns a promise of a Response; the promise is never rejected.
//
// What the handler may rely on, and what not:
//
//   - Each request has a goroutine of its own. A handler that panics costs its
//     own request only: that is answered with status 500.
//   - Answers are gathered and handed over whole, so a page that fails half
//     written is never shown. There is no streaming, no hijacking, no trailer.
//   - A request runs to its end even if the page that asked has gone: its
//     context is not cancelled, so nothing that was sent off is half done.
//   - Cookies do not exist: a worker never sees Cookie, and Set-Cookie is
//     dropped by the browser.
//   - The browser adds Origin and Sec-Fetch-Site only behind the worker, so
//     neither could tell a foreign site's form from our own. Sec-Fetch-Site is
//     put back: see [Host.Serve].
//   - Bodies are read whole, into memory. Photos do not belong here.
package fetchevent
