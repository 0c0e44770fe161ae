// Buttons narrow the list down; without scripts every pattern is shown.  The choice is kept in the address.
const cards = [...document.querySelectorAll("li[data-family]")], buttons = [...document.querySelectorAll("button[data-of]")];
const count = document.getElementById("count"), wanted = { family: "", lattice: "" };
const show = () => {
  let shown = 0;
  for (const card of cards) {
    const fits = Object.keys(wanted).every((of) => !wanted[of] || card.dataset[of] === wanted[of]);
    card.hidden = !fits;
    shown += fits;
  }
  for (const b of buttons) b.setAttribute("aria-pressed", String(wanted[b.dataset.of] === b.value));
  count.textContent = shown === cards.length ? `${shown} patterns`
    : `${shown} of ${cards.length} patterns` + (shown ? "" : ": no pattern has both; choose all in one of the rows");
};
const choose = (of, value) => {
  wanted[of] = value;
  const kept = new URLSearchParams(Object.entries(wanted).filter(([, v]) => v));
  try { history.replaceState(null, "", "#" + kept); } catch {}
  show();
};
for (const b of buttons) b.addEventListener("click", () => choose(b.dataset.of, b.value));
for (const [of, value] of new URLSearchParams(location.hash.slice(1)))
  if (buttons.some((b) => b.dataset.of === of && b.value === value)) wanted[of] = value;
show();
