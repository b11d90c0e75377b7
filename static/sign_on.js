"use strict";

// Signing on at a tied tablet: large keys for the PIN, and the focus where a badge goes.
// Without this file the PIN is typed, and the badge scanned into its field.

(() => {
  const field = () => document.getElementById("scan");
  const form = () => document.getElementById("pin");

  function press({ key, do: act }) {
    const before = field().value;
    field().value = act === "back" ? before.slice(0, -1) : before + key;
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest(".pin-keys [data-key], .pin-keys [data-do]");
    if (button) {
      press(button.dataset);
    }
    if (!event.target.closest("a")) {
      field().focus({ preventScroll: true });
    }
  });
  document.addEventListener("submit", (event) => {
    if (event.target === form() && form().dataset.sent) {
      event.preventDefault(); // Touched twice it is one try.
    } else if (event.target === form() && !event.defaultPrevented) {
      form().dataset.sent = "yes";
    }
  });
  document.addEventListener("lotward:hand-over", () => {
    if (form()) {
      form().dataset.sent = "yes"; // Another badge is on its way: this one's PIN is over.
    }
  });
  document.addEventListener("lotward:badge-waits", () => {
    const said = document.getElementById("sign-on-said");
    said.textContent = said.dataset.away;
  });
  window.addEventListener("focus", () => field().focus({ preventScroll: true }));
  document.addEventListener("DOMContentLoaded", () => {
    if (form()) {
      field().inputMode = "none"; // The keys of the page are larger than those of a tablet.
    }
    field().focus({ preventScroll: true });
  });
})();
