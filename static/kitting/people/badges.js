"use strict";

// A badge belongs into the name at the sign-in page and nowhere else. Whatever other
// field it is scanned into is emptied at once, before anything is sent or kept here;
// the server refuses it as well. At the sign-in page the Enter of the scanner leads to
// the password, and what was read is out of sight. At a tablet that is tied to a bench a
// badge goes to the page of signing on, from whatever field of the bench.

(() => {
  const PIECE = /[BCDFGHJKLNPRSTVX]{24,}/gi;
  const WHOLE = /BDG[BCDFGHJKLNPRSTVX]{33}/;
  const DIFFERENT = 6; // letters; a key that was leant on types fewer
  const PAUSE_MS = 300; // longer than between two letters of a slow scanner

  const isText = (field) =>
    field instanceof HTMLTextAreaElement ||
    (field instanceof HTMLInputElement && !["file", "hidden"].includes(field.type));
  const tells = (piece) => new Set(piece).size >= DIFFERENT || WHOLE.test(piece);
  const holds = (text) =>
    (text.replace(/\s+/g, "").toUpperCase().match(PIECE) || []).some(tells);
  const holdsBadge = (field) => isText(field) && holds(field.value);
  const isName = (field) => "badgeRead" in field.dataset;

  let timer = 0;

  // At a tablet that is tied to a bench every badge signs on, off or hands over. Its token
  // is in memory only, between the field and the server.
  async function signOn(field, badge) {
    const to = field.dataset.badgeTo;
    const token = field.form.elements.csrfmiddlewaretoken.value;
    try {
      const body = new URLSearchParams({ badge, csrfmiddlewaretoken: token });
      await fetch(to, { method: "POST", body, redirect: "manual" });
      location.assign(to);
    } catch {
      field.dispatchEvent(new CustomEvent("lotward:badge-waits", { bubbles: true }));
    }
  }

  function refuse(field) {
    const alarm = document.getElementById("alarm");
    const scanned = field.value;
    field.value = "";
    field.dataset.refused = "";
    if (field.dataset.badgeTo) {
      const asked = new CustomEvent("lotward:hand-over", { bubbles: true, cancelable: true });
      if (field.dispatchEvent(asked)) {
        signOn(field, scanned);
      }
      return;
    }
    if (alarm) {
      alarm.textContent = alarm.dataset.badge || "";
      alarm.scrollIntoView({ block: "nearest" });
    }
    field.dispatchEvent(new CustomEvent("lotward:badge", { bubbles: true }));
  }

  // Another scan, or typing: what was said of the badge before is past.
  function forget(field) {
    const alarm = document.getElementById("alarm");
    delete field.dataset.refused;
    if (alarm && alarm.textContent === alarm.dataset.badge) {
      alarm.textContent = "";
    }
  }

  // ---- the name at the sign-in page ----------------------------------------------

  function takeName(field) {
    const kept = document.createElement("input");
    kept.type = "hidden";
    kept.name = field.name;
    kept.value = field.value;
    kept.dataset.badgeRead = "";
    field.after(kept);
    field.name = "";
    field.value = "";
    field.required = false;
    field.placeholder = field.dataset.badgeRead;
  }

  function giveNameBack(field) {
    const kept = field.nextElementSibling;
    if (kept && kept.type === "hidden") {
      field.name = kept.name;
      field.required = true;
      field.placeholder = "";
      kept.remove();
    }
  }

  function look(field) {
    if (holdsBadge(field)) {
      (isName(field) ? takeName : refuse)(field);
    }
  }

  // The whole of a scan is taken at once, when its Enter comes or nothing any more.
  function onInput(event) {
    const field = event.target;
    if (!isText(field)) {
      return;
    }
    clearTimeout(timer);
    timer = setTimeout(look, PAUSE_MS, field);
    if (isName(field)) {
      giveNameBack(field);
    } else {
      forget(field);
    }
  }

  function onKey(event) {
    const field = event.target;
    if (event.key !== "Enter" || !isText(field) || !isName(field)) {
      return;
    }
    look(field);
    if (!field.name) {
      event.preventDefault();
      field.form.querySelector("input[type=password]").focus();
    }
  }

  // A field may have been filled without a key, and a scanner's Enter comes after all.
  function onSubmit(event) {
    const fields = [...event.target.elements].filter((field) => !isName(field));
    fields.filter(holdsBadge).forEach(refuse);
    const refused = fields.filter((field) => "refused" in field.dataset);
    if (refused.length) {
      event.preventDefault();
      event.stopImmediatePropagation();
      refused.forEach((field) => delete field.dataset.refused);
    }
  }

  function onLeave(event) {
    if (isText(event.target)) {
      delete event.target.dataset.refused; // What is submitted now was meant to be.
    }
  }

  document.addEventListener("input", onInput, true);
  document.addEventListener("focusout", onLeave, true);
  document.addEventListener("keydown", onKey, true);
  document.addEventListener("submit", onSubmit, true);
  document.addEventListener("lotward:keep", (event) => {
    if (holds(event.detail)) {
      event.preventDefault(); // a scan that waits for the next page
    }
  });
})();
