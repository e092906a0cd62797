// Keeps what is typed in a form until it is saved: past a worker that was stopped
// in the middle of saving, a page that went wrong, a tap on Back, a dead battery.
//
// A page opts in by a form.form with method post and a field named "form", the
// number that its entries will have. The number is kept with the draft, so that
// sending it again writes nothing twice. A field with data-no-draft is left out.
// Nothing else is asked of a page.
//
// What was typed is back in the form after Back or Reload; where the form is
// opened anew it is offered. The draft goes when its number comes back as saved
// (?saved=NUMBER), when the answer to its form led on to another page, or when it
// is thrown away or a day and a half old. The log is another database: a browser
// that drops drafts drops no entry.

const KEPT_FOR = 36 * 3_600_000; // milliseconds
const nav = performance.getEntriesByType("navigation")[0] ?? {};

let opening, db, late, tries = 0;
function open() {
	opening = new Promise((resolve, reject) => {
		const open = indexedDB.open("duskline drafts", 1);
		open.onupgradeneeded = () => open.result.createObjectStore("draft", { keyPath: "form" });
		open.onsuccess = () => resolve(open.result);
		open.onerror = open.onblocked = () => reject(open.error);
	});
	opening.then((opened) => {
		db = opened;
		db.onclose = again; // the browser is clearing it
		if (late) change(late);
		late = undefined;
	}, (why) => {
		console.warn("drafts are not kept:", why);
		if (tries) again();
	});
}
function again() {
	db = undefined;
	if (tries++ < 5) setTimeout(open, 100);
}
open();

// change makes a request of the drafts and has it committed at once, since the
// page may be about to go. The latest one waits for drafts that are not open yet.
function change(request) {
	if (!db) {
		late = request;
		return;
	}
	try {
		const tx = db.transaction("draft", "readwrite", { durability: "strict" });
		request(tx.objectStore("draft"));
		tx.commit?.();
	} catch (why) {
		console.warn("a draft was not kept:", why);
	}
}

const drop = (form) => change((drafts) => drafts.delete(form));

async function all() {
	await opening;
	return new Promise((resolve, reject) => {
		const get = db.transaction("draft").objectStore("draft").getAll();
		get.onsuccess = () => resolve(get.result);
		get.onerror = () => reject(get.error);
	});
}

const form = document.querySelector("form.form[method=post]:has(input[name=form])");
const number = () => form.elements.form.value;

const left = (e) => !e.name || e.name === "form" || e.name === "day" || "noDraft" in e.dataset
	|| ["submit", "button", "file", "password"].includes(e.type) || e.type === "hidden";

function typed() {
	const fields = [];
	for (const e of form.elements) {
		if (left(e)) continue;
		if (e.type === "checkbox" || e.type === "radio") {
			fields.push([e.name, e.value, e.checked]);
		} else if (e.tagName === "SELECT") {
			for (const o of e.options) fields.push([e.name, o.value, o.selected]);
		} else {
			fields.push([e.name, e.value]);
		}
	}
	return fields;
}

function keep() {
	const day = form.elements.day?.value ?? "";
	change((drafts) => drafts.put({ form: number(), path: location.pathname, day, at: Date.now(), fields: typed() }));
}

function fill(draft) {
	const values = new Map(), on = new Set();
	for (const [name, value, chosen] of draft.fields) {
		if (chosen === undefined) values.set(name, [...values.get(name) ?? [], value]);
		else if (chosen) on.add(name + "\n" + value);
	}
	const known = new Set(draft.fields.map(([name]) => name));
	for (const e of form.elements) {
		if (left(e) || !known.has(e.name)) continue;
		if (e.type === "checkbox" || e.type === "radio") {
			e.checked = on.has(e.name + "\n" + e.value);
			if (!e.checked) continue;
		} else if (e.tagName === "SELECT") {
			for (const o of e.options) o.selected = on.has(e.name + "\n" + o.value);
		} else {
			const value = values.get(e.name)?.shift();
			if (value === undefined || value === e.value) continue;
			e.value = value;
		}
		const folded = e.closest("details");
		if (folded) folded.open = true;
		e.dispatchEvent(new Event("change", { bubbles: true }));
	}
	form.elements.form.value = draft.form;
}

// otherwise tells whether the browser has brought back something that was typed
// and is not in a draft: a draft that could not be kept leaves an older one.
function otherwise(draft) {
	return [...form.elements].some((e) => !left(e) && e.type !== "checkbox" && e.type !== "radio"
		&& e.defaultValue !== undefined && e.value !== e.defaultValue
		&& !draft.fields.some(([name, value]) => name === e.name && value === e.value));
}

function note(words, ...buttons) {
	const box = document.createElement("div");
	box.className = "saved draft";
	box.setAttribute("role", "status");
	const p = document.createElement("p");
	p.textContent = words;
	box.append(p, ...buttons.map(([label, tap]) => {
		const button = document.createElement("button");
		button.type = "button";
		button.className = "button";
		const b = document.createElement("b");
		b.textContent = label;
		button.append(b);
		button.onclick = () => { box.remove(); tap(); };
		return button;
	}));
	form.before(box);
}

const clock = (at) => new Date(at).toLocaleTimeString("en-US", { hour: "numeric", minute: "2-digit", hourCycle: "h23" });

async function offer(drafts) {
	const day = form.elements.day?.value ?? "";
	const own = drafts.filter((d) => d.path === location.pathname && d.day === day && d.form !== number());
	if (drafts.some((d) => d.form === number()) || own.length === 0) return; // it came back with what was typed
	const newest = own.reduce((a, b) => (b.at > a.at ? b : a));
	const anew = () => { for (const d of own) drop(d.form); location.assign(location.href); };
	if ((nav.type === "back_forward" || nav.type === "reload") && !otherwise(newest)) {
		fill(newest);
		note(`What you typed at ${clock(newest.at)} is back. It is not saved yet.`, ["Begin anew", anew]);
	} else {
		note(`At ${clock(newest.at)} you filled this in and did not save it.`,
			["Take it back", () => fill(newest)], ["Throw it away", () => { for (const d of own) drop(d.form); }]);
	}
}

if (form) {
	let soon;
	form.addEventListener("input", () => { clearTimeout(soon); soon = setTimeout(keep, 150); });
	addEventListener("pagehide", () => { if (soon) keep(); });
	form.addEventListener("submit", () => {
		clearTimeout(soon);
		soon = undefined;
		keep();
		try { sessionStorage.sent = JSON.stringify([number(), location.pathname]); } catch { /* then it is offered once more */ }
	});
}

try {
	const drafts = await all();
	const saved = new URLSearchParams(location.search).get("saved");
	const [sent, from] = JSON.parse(sessionStorage.sent ?? "[]");
	const ledOn = sent && nav.type === "navigate" && nav.redirectCount > 0 && location.pathname !== from && (nav.responseStatus || 200) < 400;
	for (const d of drafts) {
		if (d.form === saved || d.form === sent && ledOn || Date.now() - d.at > KEPT_FOR) drop(d.form);
	}
	delete sessionStorage.sent; // only the page that comes next can be the answer
	if (form) await offer(drafts.filter((d) => Date.now() - d.at <= KEPT_FOR));
} catch (why) {
	console.warn("drafts cannot be read:", why);
}
