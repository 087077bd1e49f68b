"use strict";
// A small organ voice for the takes of this page: three partials, soft edges, quiet.
document.documentElement.classList.remove("no-script");
// On paper every rule is told in full.
addEventListener("beforeprint", () => {
  document.querySelectorAll("details.rule:not([open])").forEach((rule) => {
    rule.open = true;
    rule.dataset.closed = "yes";
  });
});
addEventListener("afterprint", () => {
  document.querySelectorAll("details.rule[data-closed]").forEach((rule) => { rule.open = false; });
});
(() => {
  let context = null, playing = null;
  const partials = [[1, 0.6], [2, 0.25], [3, 0.1]];

  function tone(out, [start, length, key, velocity], zero) {
    const at = zero + start, end = at + length;
    const gain = context.createGain();
    const level = 0.05 + 0.1 * velocity / 127;
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(level, at + 0.012);
    gain.gain.setValueAtTime(level, Math.max(at + 0.013, end - 0.02));
    gain.gain.linearRampToValueAtTime(0, end + 0.03);
    gain.connect(out);
    for (const [multiple, share] of partials) {
      const wave = context.createOscillator(), part = context.createGain();
      wave.frequency.value = 440 * 2 ** ((key - 69) / 12) * multiple;
      part.gain.value = share;
      wave.connect(part).connect(gain);
      wave.start(at);
      wave.stop(end + 0.05);
    }
  }

  function stop() {
    if (!playing) return;
    const { out, button, sheet, timer } = playing;
    playing = null;
    cancelAnimationFrame(timer);
    out.gain.setTargetAtTime(0, context.currentTime, 0.02);
    setTimeout(() => out.disconnect(), 200);
    button.textContent = button.dataset.play;
    button.setAttribute("aria-pressed", "false");
    sheet.querySelectorAll(".here").forEach((line) => { line.style.display = "none"; });
  }

  function follow(data, lines, zero) {
    if (!playing) return;
    const now = context.currentTime - zero;
    if (now > data.end + 0.3) { stop(); return; }
    let last = -1;
    data.times.forEach(([time], index) => { if (time <= now) last = index; });
    lines.forEach((line) => { line.style.display = "none"; });
    if (last >= 0) {
      const [, system, share] = data.times[last];
      if (lines[system]) {
        lines[system].style.left = 100 * share + "%";
        lines[system].style.display = "block";
      }
    }
    playing.timer = requestAnimationFrame(() => follow(data, lines, zero));
  }

  function start(button) {
    const sheet = button.closest(".sheet");
    const data = JSON.parse(sheet.querySelector("script[type='application/json']").textContent);
    context = context || new AudioContext();
    context.resume();
    const out = context.createGain();
    out.gain.value = 0.5;
    const limiter = context.createDynamicsCompressor();
    out.connect(limiter).connect(context.destination);
    const zero = context.currentTime + 0.15;
    data.notes.forEach((note) => tone(out, note, zero));
    playing = { out, button, sheet, timer: 0 };
    button.textContent = button.dataset.stop;
    button.setAttribute("aria-pressed", "true");
    follow(data, [...sheet.querySelectorAll(".here")], zero);
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button.play");
    if (!button) return;
    const again = playing && playing.button === button;
    stop();
    if (!again) start(button);
  });
})();
