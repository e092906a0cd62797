// The tablet's service worker. It answers for the jobs on board and for the
// files of its build, always from the tablet, with or without signal. All else
// goes to the network.
//
// The server puts two things before this text: BUILD, the list of the build's
// files with their hashes, and Go's wasm_exec.js. Script, glue and program can
// therefore only change together. This file never touches IndexedDB, where the
// log is.
//
// What the program and this script agree on, as globals:
//   serveFetchEvents(answer)  the program calls it once it can answer
//   jobsOnBoard([{id, name}]) the program calls it at its start, and again when
//                             a job comes on board or leaves; it returns a
//                             promise of having been noted; ids are as they
//                             stand in addresses
//   BUILD in its environment  the id of the build, to be shown
// Messages from pages:
//   "take over"          this build is to answer from now on
//   "take over if alone" the same, if no other page of ours is open
//   "claim"              answer for pages that were loaded past the worker
//   "about"              answered with {build, memory}: bytes the program holds

const CACHE = "build " + BUILD.id;
const RECORD = "jobs on board"; // a cache with one entry, see noted
const PROGRAM = "/static/tablet.wasm";

// How long the program may take, in milliseconds. Both are far more than it
// needs, and less than anybody waits.
const START = 10_000;
const ANSWER = 30_000;

// --- The build: fetched whole, kept with the one before it.

addEventListener("install", (event) => event.waitUntil(install()));

async function install() {
	// A build that comes back (a server rolled back) becomes the newest again.
	await caches.delete(CACHE);
	const cache = await caches.open(CACHE);
	try {
		await Promise.all(Object.entries(BUILD.files).map(async ([path, integrity]) => {
			// The hash also keeps out a sign-in page of somebody's network and
			// a file of the next build.
			const file = await fetch(path, { integrity, cache: "no-cache" });
			if (!file.ok) throw new Error(`${path}: ${file.status}`);
			await cache.put(path, file);
		}));
	} catch (why) {
		await caches.delete(CACHE);
		throw why;
	}
}

addEventListener("activate", (event) => event.waitUntil(activate()));

async function activate() {
	// Caches come in the order in which they were opened. A page of the build
	// before may still be open and want its files.
	const builds = (await caches.keys()).filter((name) => name.startsWith("build "));
	const own = builds.indexOf(CACHE);
	await Promise.all(builds.slice(0, Math.max(0, own - 1)).map((name) => caches.delete(name)));
	await clients.claim();
}

addEventListener("message", (event) => {
	switch (event.data) {
	case "take over":
		skipWaiting();
		break;
	case "take over if alone":
		event.waitUntil(clients.matchAll({ type: "window", includeUncontrolled: true }).then((pages) => {
			if (pages.length === 1) skipWaiting();
		}));
		break;
	case "claim":
		event.waitUntil(clients.claim());
		break;
	case "about":
		event.ports[0].postMessage({ build: BUILD.id, memory: memory?.buffer.byteLength ?? 0 });
	}
});

// --- Who answers what.

addEventListener("fetch", (event) => {
	const { request } = event;
	const url = new URL(request.url);
	if (url.origin !== location.origin) return;
	const job = /^\/job\/([^/]+)/.exec(url.pathname);
	if (/^\/job\/[^/]+\/(setup|days|day)(\/|$)/.test(url.pathname)) {
		// Only the office has these pages, whatever is on board here.
		if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => plainPage(AWAY, request)));
	} else if (job) {
		event.respondWith(forJob(request, job[1]));
	} else if (/^\/tablet(\/|$)/.test(url.pathname)) {
		event.respondWith(fromProgram(request));
	} else if (url.pathname === "/sign-out" && request.method === "POST") {
		event.respondWith(signOut(request));
	} else if (url.pathname.startsWith("/static/") && request.method === "GET") {
		event.respondWith(file(request, url.pathname));
	} else if (request.mode === "navigate") {
		event.respondWith(fetch(request).catch(() => plainPage(AWAY, request)));
	}
});

async function file(request, path) {
	return await caches.match(path, { cacheName: CACHE })
		?? await caches.match(path) // a page of the build before
		?? fetch(request);
}

async function forJob(request, id) {
	if (await onBoard(id)) return fromProgram(request);
	const spare = request.clone();
	try {
		return await fetch(request);
	} catch {
		// What is noted may be behind what the program keeps.
		await within(START, program()).catch(() => {});
		return await onBoard(id) ? fromProgram(spare) : plainPage(request.method === "GET" ? AWAY : LOST, request);
	}
}

// Whoever signs out while something is not sent may not be able to send it any
// more, so it is sent or handed over first.
async function signOut(request) {
	const unsent = await within(START, program()).then(({ answer }) => answer(new Request("/tablet/unsent")))
		.then((answer) => answer.text(), () => "0");
	return unsent === "0" ? fetch(request) : plainPage(["Not signed out", unsent === "-1"
		? `This tablet cannot tell whether all that was written here is sent.`
		: `${unsent} entries written on this tablet are not sent yet.`, `Send them first, or hand them over as a file.`], request);
}

// --- Which jobs are on board. The program knows; a note of it lets a worker
// that has just been started decide before the program runs.

let aboard; // as the program last said, or as noted

self.jobsOnBoard = async (jobs) => {
	aboard = jobs;
	try {
		const cache = await caches.open(RECORD);
		await cache.put("/", new Response(JSON.stringify(jobs)));
	} catch (why) {
		console.warn("the jobs on board are not noted:", why); // no room: the program says it again
	}
};

async function noted() {
	const note = await caches.match("/", { cacheName: RECORD });
	return note && note.json();
}

async function onBoard(id) {
	aboard ??= await noted();
	// Nobody ever said: the program will, as it starts.
	if (!aboard) await within(START, program()).catch(() => {});
	return Boolean(aboard?.some((job) => job.id === id));
}

// --- The program: started by the first request that needs it, and again if it
// ended.

let running; // a promise of {answer, ended}
let module; // compiled
let memory; // of the newest instance, to tell its size

function program() {
	if (!running) {
		const mine = running = start();
		const gone = () => { if (running === mine) running = undefined; };
		mine.then(({ ended }) => ended.catch(gone), gone);
	}
	return running;
}

async function start() {
	module ??= await WebAssembly.compileStreaming(
		await caches.match(PROGRAM, { cacheName: CACHE }) ?? fetch(PROGRAM, { integrity: BUILD.files[PROGRAM] }));
	const go = new Go();
	go.env = { BUILD: BUILD.id };
	const serving = new Promise((resolve) => { self.serveFetchEvents = resolve; });
	const instance = await WebAssembly.instantiate(module, go.importObject);
	memory = instance.exports.mem;
	const ended = go.run(instance).then(() => { throw new Error("the program ended"); });
	const answer = await Promise.race([serving, ended]);
	return { answer, ended };
}

// fromProgram lets the program answer. If it cannot, the network may, and if
// there is none, a page says what is safe.
async function fromProgram(request) {
	const spare = request.clone();
	let begun = false; // the program may have done what was asked for
	try {
		return await answered(request, () => { begun = true; });
	} catch (why) {
		console.error("the program did not answer:", why);
	}
	// A form that may have been kept here must not be kept there as well.
	if (begun && request.method !== "GET" && request.method !== "HEAD") return plainPage(UNSURE, request);
	return fetch(spare).catch(() => plainPage(BROKEN, request));
}

// answered asks the program, and once more if it ended meanwhile: a form that
// arrives twice is kept once.
async function answered(request, begin, again = true) {
	const mine = program();
	const { answer, ended } = await within(START, mine);
	begin();
	try {
		return await within(ANSWER, Promise.race([answer(request.clone()), ended]));
	} catch (why) {
		if (running === mine) running = undefined;
		if (!again || why instanceof Late) throw why;
	}
	return answered(request, begin, false);
}

class Late extends Error {}

async function within(milliseconds, promise) {
	let timer;
	const late = new Promise((_, reject) => {
		timer = setTimeout(() => reject(new Late(`nothing within ${milliseconds} ms`)), milliseconds);
	});
	return Promise.race([promise, late]).finally(() => clearTimeout(timer));
}

// --- Time zones. The browser knows them all; the program asks for those of the
// jobs on board.

// clocksOf gives from when on a zone's clocks show what: lists of Unix seconds,
// seconds ahead of UTC, and name; null for a zone that does not exist.
self.clocksOf = (zone) => {
	const FIRST = Date.UTC(2015, 0), LAST = Date.UTC(2045, 0), STEP = 28 * 86_400_000, MINUTE = 60_000;
	let format;
	try {
		format = new Intl.DateTimeFormat("en-US", {
			timeZone: zone, hourCycle: "h23", timeZoneName: "short", year: "numeric", month: "numeric",
			day: "numeric", hour: "numeric", minute: "numeric", second: "numeric",
		});
	} catch {
		return null;
	}
	const shown = (ms) => {
		const p = Object.fromEntries(format.formatToParts(ms).map(({ type, value }) => [type, value]));
		const east = (Date.UTC(p.year, p.month - 1, p.day, p.hour, p.minute, p.second) - ms) / 1000;
		return { east, name: p.timeZoneName, same: (o) => o.east === east && o.name === p.timeZoneName };
	};
	let now = shown(FIRST);
	const changes = [[FIRST / 1000, now.east, now.name]];
	for (let at = FIRST + STEP; at < LAST; at += STEP) {
		const next = shown(at);
		if (next.same(now)) continue;
		let before = at - STEP, after = at;
		while (after - before > MINUTE) {
			const middle = before + Math.floor((after - before) / 2 / MINUTE) * MINUTE;
			if (shown(middle).same(now)) before = middle;
			else after = middle;
		}
		now = next;
		changes.push([after / 1000, now.east, now.name]);
	}
	return changes;
};

// --- Pages for when nobody answers.

const AWAY = ["No signal", `This page is kept at the office and needs signal.
	All that was saved on this tablet is still on it, and the jobs on board work without signal.`];
const LOST = ["Not saved", `The office does not answer, and this job is not on board this tablet. Go back: what you wrote
	should still be there. Save it once there is signal, or write it down on paper, with the time.`];
const BROKEN = ["The log did not start", `All that was saved on this tablet is still on it. Do not clear the
	browser's data. Try again; if it fails again, start the tablet anew. Until then, write down on paper what
	happens, with the time.`];
const UNSURE = ["Perhaps not saved", `What you were just saving may not have been kept. Go back: what you wrote
	should still be there. Look whether the entry is in the list; if not, save it once more. All that was saved
	before is still on this tablet.`];

async function plainPage([title, words, more = ""], request) {
	aboard ??= await noted();
	const text = (s) => String(s).replace(/[&<>"]/g, (c) => `&#${c.charCodeAt(0)};`);
	const jobs = (aboard ?? []).map(({ id, name }) =>
		`<li><a href="/job/${text(id)}/">${text(name || id)}</a></li>`);
	return new Response(`<!DOCTYPE html>
<html lang="en-US">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${title}</title>
<style>
	:root { color-scheme: light dark }
	body { font: 1.25rem/1.5 sans-serif; max-width: 34em; margin: 2rem auto; padding: 0 1rem }
	a { display: inline-block; padding: .9rem 0; min-height: 56px; box-sizing: border-box }
	ul { list-style: none; padding: 0 }
</style>
<h1>${title}</h1>
<p>${words} ${more}</p>
${more ? `<p><a href="/tablet">This tablet</a></p>` : ""}
${request.method === "GET" ? `<p><a href="">Try again</a></p>` : ""}
${jobs.length ? `<h2>On board</h2><ul>${jobs.join("")}</ul>` : ""}
`, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8", "Cache-Control": "no-store" } });
}
