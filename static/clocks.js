// Keeps a page's clocks and its day line going. Everything shown is worked out
// from the instants on the page and the time now, so a tablet that slept is right
// again at the next look. Only words, widths and the red line's place change.

const minute = 60_000;
const skew = Number(document.body.dataset.skew) || 0; // ms the device's clock is behind
const now = () => Date.now() + skew;

const clock = (minutes) => `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;

// As the page prints times of day.
const timeOfDay = (minutes) => clock(minutes % 1440).padStart(5, "0");

const put = (element, text) => {
  if (element && element.textContent !== text) element.textContent = text;
};

// Rows of running waits.
const waits = [...document.querySelectorAll(".clocks li")].map((row) => ({
  row,
  from: Number(row.dataset.from),
  until: Number(row.dataset.until),
  up: "up" in row.dataset,
  face: row.querySelector(".face b"),
  unit: row.querySelector(".face small"),
  bar: row.querySelector(".gauge rect"),
}));
for (const w of waits) w.said = isOver(w, now());

function isOver(w, t) {
  return w.until !== 0 && !w.up && t >= w.until;
}

function showWait(w, t) {
  const over = isOver(w, t);
  const shown = w.up || w.until === 0 ? (t - w.from) / minute
    : over ? (t - w.until) / minute
    : Math.ceil((w.until - t) / minute);
  put(w.face, clock(Math.max(0, Math.floor(shown))));
  put(w.unit, over && w.row.dataset.over ? w.row.dataset.over : w.row.dataset.unit);
  if (w.bar) {
    const part = Math.min(Math.max((t - w.from) / (w.until - w.from), 0), 1);
    w.bar.setAttribute("width", `${(100 * part).toFixed(1)}%`);
  }
  if (over && !w.said) {
    w.said = true;
    put(document.querySelector("[data-say]"), w.row.dataset.said);
    ring();
  }
}

// The day line: the red line, what is gone, and which last calls are past. It
// stops at the end of the bar; the page draws a longer one when it is next asked.
function showDay(figure, t) {
  const first = Number(figure.dataset.first);
  const last = Number(figure.dataset.last);
  const at = first + Math.floor((t - Number(figure.dataset.start)) / minute);
  if (at < first || at > last) return;
  const x = (at - first) / (last - first);
  for (const g of figure.querySelectorAll("[data-minute]")) {
    g.classList.toggle("past", Number(g.dataset.minute) < at);
  }
  for (const svg of figure.querySelectorAll(".sketch > svg")) {
    const red = svg.querySelector(".now");
    if (!red) continue;
    const text = red.querySelector("text");
    red.setAttribute("x", `${(100 * x).toFixed(2)}%`);
    svg.querySelector(".gone").setAttribute("width", `${(100 * x).toFixed(2)}%`);
    put(text, timeOfDay(at));
    const width = svg.clientWidth;
    if (width === 0) continue; // a drawing for another width
    const half = text.getBBox().width / 2;
    text.setAttribute("text-anchor", x * width < half ? "start" : (1 - x) * width < half ? "end" : "middle");
    const taken = text.getBoundingClientRect();
    for (const hour of svg.querySelectorAll("text.hour")) {
      const box = hour.getBoundingClientRect();
      const meets = box.left < taken.right + 5 && box.right > taken.left - 5;
      hour.setAttribute("visibility", meets ? "hidden" : "visible");
    }
  }
}

function show() {
  const t = now();
  for (const w of waits) showWait(w, t);
  for (const figure of document.querySelectorAll(".day[data-start]")) showDay(figure, t);
  for (const e of document.querySelectorAll("[data-gone]")) e.hidden ||= t > Number(e.dataset.gone);
}

// The end of a wait is heard and felt where the browser lets a page: after the
// first tap on it. A wait that ended while the tablet slept rings as it wakes.
let sound;
addEventListener("pointerdown", () => { sound ??= new AudioContext(); }, { once: true });

function ring() {
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.([300, 150, 300]);
  if (sound?.state !== "running") return;
  for (const after of [0, 0.45]) {
    const tone = sound.createOscillator(), loud = sound.createGain();
    const from = sound.currentTime + after;
    tone.frequency.value = 880;
    loud.gain.setValueAtTime(0.3, from);
    loud.gain.linearRampToValueAtTime(0, from + 0.3);
    tone.connect(loud).connect(sound.destination);
    tone.start(from);
    tone.stop(from + 0.3);
  }
}

// The screen stays on by choice, on pages with running waits. The browser lets go
// whenever the page is out of sight, so it is asked again.
let lit = localStorage.lit === "yes";
const list = document.querySelector(".clocks");
if (list && navigator.wakeLock) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button";
  const words = document.createElement("b");
  button.append(words);
  const stay = async () => {
    words.textContent = lit ? "The screen stays on" : "Keep the screen on";
    button.setAttribute("aria-pressed", lit);
    try {
      if (lit && !stay.lock) {
        stay.lock = await navigator.wakeLock.request("screen");
        stay.lock.addEventListener("release", () => { stay.lock = null; });
      } else if (!lit) {
        await stay.lock?.release();
      }
    } catch { /* the battery is low: the browser says no */ }
  };
  button.onclick = () => {
    lit = !lit;
    localStorage.lit = lit ? "yes" : "no";
    stay();
  };
  (document.querySelector(".aboard") ?? list.parentElement).append(button);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) stay(); });
  stay();
}

show();
setInterval(show, 1000);
document.addEventListener("visibilitychange", show);
window.addEventListener("resize", show);
