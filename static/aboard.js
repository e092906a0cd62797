// Taking a job on board, and staying in step with the worker. A module that
// every page may load. What it looks for in a page:
//
//   form[data-take-aboard]  taking a job on board: it is sent once the worker
//                           answers for this page
//   [data-aboard]           filled with one sentence: who answers this page
//   [data-exchange]         the status line of a job on board: while the page is
//                           looked at, the office is asked for what is new at
//                           the address given there, and the answer shown
//   [data-storage]         filled with how long the browser keeps what is here
//   [data-install]         steps to the home screen, shown where the browser keeps
//                          a page's storage apart from that of the home screen
//   button[data-new-build]  shown while a new version waits; a tap takes it
//
// Where a worker is registered, a form is held until the worker answers: past
// it, what was written could go nowhere.

const workers = navigator.serviceWorker;
const WAIT = 10_000; // milliseconds for a worker to come

function say(sentence) {
	for (const place of document.querySelectorAll("[data-aboard]")) place.textContent = sentence;
}

function show() {
	say(workers.controller
		? "This tablet answers by itself, with or without signal."
		: "The office answers. Without signal nothing can be written.");
}

// controlled resolves once a worker answers for this page.
function controlled() {
	return new Promise((resolve, reject) => {
		if (workers.controller) return resolve();
		workers.addEventListener("controllerchange", () => resolve(), { once: true });
		setTimeout(() => reject(new Error("no worker came")), WAIT);
	});
}

// send lets a form go as if it were tapped just now, past our own listeners.
function send(form, button) {
	form.dataset.go = "";
	form.requestSubmit(button);
	delete form.dataset.go;
}

// In a tab of Safari on a tablet: what is taken on board here would not be there
// on the home screen, and is thrown away when it is not looked at for a week.
const inTab = navigator.standalone === false;
for (const steps of document.querySelectorAll("[data-install]")) steps.hidden = !inTab;

async function showStorage() {
	const place = document.querySelector("[data-storage]");
	if (!place || !navigator.storage?.persisted) return;
	const kept = await navigator.storage.persisted() || await navigator.storage.persist();
	const { usage } = await navigator.storage.estimate();
	place.textContent = `${(usage / 1e6).toFixed(1)} MB are used. ` + (kept
		? "The browser has promised to keep them."
		: "The browser may clear them when space runs short. On the home screen, as an app, it keeps them.");
}
showStorage().catch((why) => console.warn("storage:", why));

async function takeAboard(form, button) {
	if (inTab) return say("First put this page on the home screen and open it from there: what this tab keeps would not be there.");
	say("Fetching what this tablet needs to work without signal ...");
	try {
		await workers.register("/sw.js");
		await workers.ready;
		await controlled();
		// Without it the browser may clear the log when space is short. It
		// may say no; the page "This tablet" tells.
		await navigator.storage?.persist?.();
	} catch (why) {
		console.warn("not taken on board:", why);
		say("It did not work: this tablet could not fetch all it needs. Nothing has changed. Try again where the signal is better.");
		return;
	}
	send(form, button);
}

async function hold(form, button) {
	const { active } = await workers.getRegistration() ?? {};
	active?.postMessage("claim");
	try {
		await controlled();
	} catch {
		say("Not sent: the log on this tablet does not answer. What you wrote is still in the form. Close the other windows of this log and try again.");
		return;
	}
	send(form, button);
}

function offer(registration) {
	const button = document.querySelector("button[data-new-build]");
	if (!registration.waiting || !button) return;
	button.hidden = false;
	button.onclick = () => {
		workers.addEventListener("controllerchange", () => location.reload(), { once: true });
		registration.waiting?.postMessage("take over");
	};
}

// keepInTouch exchanges with the office once the page is open, since something
// may just have been saved, every while, and when signal or eyes come back.
function keepInTouch(line) {
	const EVERY = 20_000, SELDOM = 300_000; // milliseconds
	let timer, failed = 0, busy = false;
	async function exchange() {
		clearTimeout(timer);
		if (busy || document.hidden) return;
		busy = true;
		try {
			const answer = await fetch(line.dataset.exchange, { method: "POST" });
			failed = answer.ok ? 0 : failed + 1;
			if (answer.status === 410) line.textContent = "The browser has cleared what this tablet kept of the job.";
			if (answer.headers.get("Content-Type")?.startsWith("text/plain")) line.textContent = await answer.text();
		} catch {
			failed++;
		}
		busy = false;
		timer = setTimeout(exchange, Math.min(EVERY * 2 ** failed, SELDOM) * (0.75 + Math.random() / 2));
	}
	const soon = () => { failed = 0; exchange(); };
	addEventListener("online", soon);
	document.addEventListener("visibilitychange", soon);
	addEventListener("pagehide", () => clearTimeout(timer));
	timer = setTimeout(exchange, 500);
}

if (workers) {
	const line = document.querySelector("[data-exchange]");
	if (line && workers.controller) keepInTouch(line);
	const registration = await workers.getRegistration();
	addEventListener("submit", (event) => {
		const form = event.target;
		if (event.defaultPrevented || "go" in form.dataset) return;
		if ("takeAboard" in form.dataset) {
			event.preventDefault();
			takeAboard(form, event.submitter);
		} else if (registration?.active && !workers.controller && form.method === "post") {
			event.preventDefault();
			hold(form, event.submitter);
		}
	});
	workers.addEventListener("controllerchange", show);
	show();
	if (registration) {
		// Nothing is half written in a page that has just been opened.
		registration.waiting?.postMessage("take over if alone");
		registration.addEventListener("updatefound", () => {
			const next = registration.installing;
			next?.addEventListener("statechange", () => { if (next.state === "installed") offer(registration); });
		});
		offer(registration);
	}
} else {
	say("This browser cannot work without signal.");
}
