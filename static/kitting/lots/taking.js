"use strict";

// Where a part is chosen, the form comes anew, with what was used last for it. What was
// typed stays, also what is typed while the form is on its way, and so does the focus.

(() => {
  const typed = new WeakSet();
  let kept = [];
  let at = null;

  document.addEventListener("input", (event) => typed.add(event.target));
  document.addEventListener("htmx:beforeSwap", (event) => {
    const { target, requestConfig: { elt, verb } } = event.detail;
    const fields = verb === "get" ? [...target.elements] : []; // a refused form has it all
    kept = fields.filter((field) => typed.has(field) && field !== elt);
    at = fields.find((field) => field === document.activeElement && field !== elt);
  });
  document.addEventListener("htmx:afterSwap", () => {
    for (const was of kept) {
      const field = document.getElementById(was.id);
      [field.value, field.checked] = [was.value, was.checked];
      field.closest("details")?.setAttribute("open", "");
      typed.add(field);
    }
  });
  document.addEventListener("htmx:afterSettle", () => document.getElementById(at?.id)?.focus());
})();
