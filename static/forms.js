// What saves taps in forms. A module of every page with a form; without it all
// can be typed just the same.

// A tap on "Other" is followed by typing the time, so the cursor goes there.
// Whoever uses keys stays where he is.
let tapped = false;
addEventListener("pointerdown", () => { tapped = true; }, true);
addEventListener("keydown", () => { tapped = false; }, true);
addEventListener("change", ({ target }) => {
	const time = target.closest(".tiles.time")?.querySelector(".other input");
	if (!tapped || !time || target.value !== "other") return;
	time.focus();
	if (matchMedia("(pointer: coarse)").matches) {
		try { time.showPicker(); } catch { /* it opens by a tap then */ }
	}
});

// What stands in a box of digits is typed over, not deleted first.
addEventListener("focusin", ({ target }) => {
	if (tapped && target.matches(".number input, .length input")) target.select();
});
