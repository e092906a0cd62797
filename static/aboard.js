// Taking a job on board, and staying in step with the worker. A module that
// every page may load. What it looks for in a page:
//
//   form[data-take-aboard]  taking a job on board: it is sent once the worker
//                           answers for this page
//   [data-aboard]           filled with one sentence: who answers this page
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

async function takeAboard(form, button) {
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

if (workers) {
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
