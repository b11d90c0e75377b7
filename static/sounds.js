"use strict";

// Sounds, for who looks at the boxes and not at the screen. A page asks for one by the event
// "lotward:sound"; what htmx swaps in may ask for one by data-sound.
// Without this file, or before the page was touched, everything is silent.

(() => {
  let audio = null;

  function wake() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!audio && Context) {
      audio = new Context();
    }
    if (audio && audio.state === "suspended") {
      audio.resume();
    }
  }

  function tone(pitch, from, seconds, shape) {
    const source = audio.createOscillator();
    const volume = audio.createGain();
    const start = audio.currentTime + from;
    source.type = shape;
    source.frequency.value = pitch;
    volume.gain.setValueAtTime(0, start);
    volume.gain.linearRampToValueAtTime(0.3, start + 0.01);
    volume.gain.linearRampToValueAtTime(0, start + seconds);
    source.connect(volume).connect(audio.destination);
    source.start(start);
    source.stop(start + seconds);
  }

  // Told apart by how many they are and how long, also by one poor speaker: two short ones
  // that rise, two long ones that fall, two ticks alike, three that rise to a long one, and
  // two that rise with a long one that stays.
  const SOUNDS = {
    right: [[880, 0, 0.09, "sine"], [1320, 0.09, 0.12, "sine"]],
    wrong: [[196, 0, 0.28, "square"], [147, 0.3, 0.4, "square"]],
    wait: [[523, 0, 0.06, "triangle"], [523, 0.12, 0.06, "triangle"]],
    done: [[659, 0, 0.09, "sine"], [880, 0.11, 0.09, "sine"], [1320, 0.22, 0.4, "sine"]],
    besides: [[880, 0, 0.09, "sine"], [1320, 0.09, 0.12, "sine"], [659, 0.3, 0.4, "triangle"]],
  };

  function play(state) {
    if (audio?.state === "running") {
      (SOUNDS[state] || []).forEach((one) => tone(...one));
    }
  }

  document.addEventListener("keydown", wake, true);
  document.addEventListener("pointerdown", wake, true);
  document.addEventListener("lotward:sound", (event) => play(event.detail));
  document.addEventListener("htmx:load", ({ detail: { elt } }) => {
    const asks = elt.matches("[data-sound]") ? elt : elt.querySelector("[data-sound]");
    play(asks?.dataset.sound);
  });
})();
