"use strict";

// Bags that come in one after the other, by a scanner alone: the first scan of a bag's
// number asks, the second one adds it. A scan is taken wherever the focus is, Enter sends
// nothing by itself, and a scanner that reads twice at once has read once. Without this
// file the first scan adds the bag.

(() => {
  const TWICE_MS = 600; // within this time the same label was read twice, not scanned

  let asked = "";
  let askedAt = 0;

  const scan = () => document.querySelector("[data-harvest]");
  const said = () => document.getElementById("harvest-said");
  const named = (name) => scan().form.elements[name];
  const tidy = (text) => text.trim().toUpperCase();

  function count() {
    const [stacks, each, loose] = ["stacks", "stack_pieces", "loose"]
      .map((name) => Number(named(name).value) || 0);
    const pieces = Number(named("pieces").value) || 0;
    return pieces || stacks * each + loose;
  }

  function say(kind, other) {
    const unit = named("pieces").dataset.unit || "";
    said().textContent = said().dataset[kind]
      .replace("{bag}", asked)
      .replace("{other}", other || "")
      .replace("{count}", `${count().toLocaleString("en-GB")} ${unit}`);
    said().className = kind === "asked" ? "scan-said" : "scan-said scan-no";
  }

  function ask(number, now) {
    const other = asked;
    asked = number;
    askedAt = now;
    scan().value = "";
    if (!count()) {
      say("uncounted");
    } else {
      say(other && other !== number ? "instead" : "asked", other);
    }
  }

  function read(now) {
    const number = tidy(scan().value);
    if (!number) {
      return;
    }
    if (number !== asked || !count()) {
      ask(number, now);
    } else if (now - askedAt < TWICE_MS) {
      scan().value = "";
    } else {
      scan().form.requestSubmit();
    }
  }

  // What was refused for a doubt is asked about again; else another bag is scanned.
  function begin() {
    asked = "";
    if (!scan() || !scan().form.querySelector("[data-wrong]")) {
      return;
    }
    document.getElementById("said")?.replaceChildren(); // it said so of the bag before
    const number = tidy(scan().value);
    scan().value = "";
    if (number && named("sure").type !== "hidden") {
      ask(number, 0);
    }
  }

  function onKey(event) {
    const field = scan();
    if (!field || event.isComposing || event.ctrlKey || event.altKey || event.metaKey) {
      return;
    }
    if (field.form.classList.contains("htmx-request")) {
      event.preventDefault(); // one bag after the other: this one has no answer yet
      event.stopPropagation();
      return;
    }
    const at = document.activeElement;
    const ends = event.key === "Enter" || (event.key === "Tab" && at === field && field.value);
    if (ends && at && at.form === field.form && at.tagName === "INPUT") {
      event.preventDefault();
      event.stopPropagation();
      if (at === field) {
        read(event.timeStamp);
      } else {
        field.focus();
      }
    }
  }

  document.addEventListener("keydown", onKey, true);
  document.addEventListener("input", (event) => {
    if (asked && event.target !== scan() && event.target.form === scan()?.form) {
      say(count() ? "asked" : "uncounted");
    }
  });
  document.addEventListener("change", (event) => {
    if (scan() && event.target.tagName === "SELECT" && matchMedia("(pointer: coarse)").matches) {
      scan().focus();
    }
  });
  document.addEventListener("submit", (event) => {
    if (scan() && event.target === scan().form && asked) {
      scan().value = asked;
    }
  }, true);
  document.addEventListener("htmx:afterRequest", (event) => {
    if (scan() && event.target === scan().form && !event.detail.successful) {
      scan().value = "";
    }
  });
  document.addEventListener("htmx:afterSettle", begin);
  document.addEventListener("DOMContentLoaded", begin);
  begin();
})();
