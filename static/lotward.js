"use strict";

// What the pages need beyond HTML: a sentence for a failed request, the focus on what
// is wrong after a swap, the hyphens of a day, and a sign-out that found no network.
// Everything works without this file, except that a failed htmx request stays silent.

(() => {
  function say(kind) {
    const alarm = document.getElementById("alarm");
    if (alarm) {
      alarm.textContent = alarm.getAttribute(`data-${kind}`) || alarm.dataset.other || "";
    }
  }

  function hush() {
    const alarm = document.getElementById("alarm");
    if (alarm) {
      alarm.textContent = "";
    }
  }

  function focusWrong(root) {
    const wrong = root.querySelector("[data-wrong]") ||
      root.querySelector("[aria-invalid='true']");
    if (wrong) {
      wrong.focus();
    }
  }

  // A telephone's keys for figures may have no hyphen: the day gets its two by itself.
  function onDayTyped(event) {
    const field = event.target;
    if (event.inputType !== "insertText" || !("day" in field.dataset)) {
      return;
    }
    const typed = field.value.replace("--", "-");
    const atEnd = field.selectionStart === field.value.length;
    if (atEnd) {
      field.value = /^\d{4}(-\d{2})?$/.test(typed) ? `${typed}-` : typed;
    }
  }

  // Who signs out without network is signed out by the next page that the server gives.
  const LEAVING = "lotward-leaving";

  function leaving(times) {
    try {
      localStorage.setItem(LEAVING, times);
    } catch {
      // A browser that keeps nothing shows its own sentence.
    }
  }

  function leave() {
    const out = document.querySelector("form[data-sign-out]");
    let times = 0;
    try {
      times = Number(localStorage.getItem(LEAVING));
    } catch {
      return;
    }
    if (out && times > 0 && times < 4) {
      out.requestSubmit();
      leaving(times + 1); // A server that never lets go is not asked for ever.
    } else if (times > 0 && (out || document.querySelector("input[name=username]"))) {
      leaving(0);
    }
  }

  document.addEventListener("submit", (event) => {
    if ("signOut" in event.target.dataset) {
      leaving(1);
    }
  });
  document.addEventListener("lotward:say", (event) => say(event.detail));
  document.addEventListener("input", onDayTyped);
  document.addEventListener("htmx:responseError", (event) => {
    const { xhr } = event.detail;
    say(xhr.status);
    // Database or disk failed: the server says how, in plain text.
    const alarm = document.getElementById("alarm");
    if (alarm && xhr.status === 503 && xhr.getResponseHeader("Content-Type") === "text/plain") {
      alarm.textContent = xhr.responseText;
    }
  });
  document.addEventListener("htmx:sendError", () => say("away"));
  document.addEventListener("htmx:timeout", () => say("away"));
  document.addEventListener("htmx:beforeRequest", hush);
  document.addEventListener("htmx:afterSettle", (event) => focusWrong(event.target));
  document.addEventListener("DOMContentLoaded", () => {
    focusWrong(document);
    leave();
  });
})();
