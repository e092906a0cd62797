// The button that prints the day summary: without script there is none, and the
// browser's own menu prints as well.
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}
