// Shows what a form of the set-up comes to while it is typed: the server draws
// it, and this puts the drawing in its place. Without it there is a button.

const form = document.querySelector(".planner form");
const shown = document.querySelector("[data-drawn]");
const wait = 300; // ms after the last key

let timer = 0;
let asked = 0;

async function draw() {
  const mine = ++asked;
  const body = new URLSearchParams(new FormData(form));
  body.set("draw", "part");
  try {
    const answer = await fetch(form.action, { method: "POST", body });
    const text = await answer.text();
    if (answer.ok && mine === asked) shown.innerHTML = text; // a later question may be answered first
  } catch {
    // Without the server there is nothing to draw; saving will say so.
  }
}

form.addEventListener("input", () => {
  clearTimeout(timer);
  timer = setTimeout(draw, wait);
});
