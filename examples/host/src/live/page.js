'use strict';
// brings what is new every few seconds; when nothing answers no value is left standing
const EVERY = 5000, GONE = 20000;
const main = document.querySelector('main'), gone = document.getElementById('gone');
const sound = document.getElementById('sound');
let heard = Date.now(), rings = main.dataset.rings, audio = null;

function beep(strokes) {
  for (let n = 0; audio && n < strokes; n++) {
    const tone = audio.createOscillator(), loud = audio.createGain();
    const at = audio.currentTime + n * 0.45;
    tone.frequency.value = 880;
    loud.gain.setValueAtTime(0.4, at);
    loud.gain.setValueAtTime(0, at + 0.3);
    tone.connect(loud).connect(audio.destination);
    tone.start(at);
    tone.stop(at + 0.3);
  }
}

async function look() {
  try {
    const answer = await fetch('/now', { cache: 'no-store', signal: AbortSignal.timeout(EVERY) });
    if (!answer.ok) throw new Error(answer.status);
    const next = new DOMParser().parseFromString(await answer.text(), 'text/html').querySelector('main');
    if (next.dataset.stale) throw new Error('stale');
    for (const part of next.children) {
      const here = document.getElementById(part.id);
      if (!here) return location.reload();
      if (here.innerHTML !== part.innerHTML) here.innerHTML = part.innerHTML;
    }
    document.title = next.dataset.title;
    if (next.dataset.rings !== rings) beep(Number(next.dataset.strokes));
    rings = next.dataset.rings;
    heard = Date.now();
  } catch { /* told below once it lasts */ }
  const lost = Date.now() - heard > GONE;
  gone.hidden = !lost;
  main.hidden = lost;
  if (lost) document.title = 'no connection';
}

sound.hidden = false;
sound.addEventListener('click', () => {
  audio = audio || new AudioContext();
  audio.resume();
  beep(1);
  sound.textContent = 'This page sounds at alarms';
});
document.addEventListener('visibilitychange', () => document.hidden || look());
// a page that comes back from a sleep shows nothing old
setInterval(() => { if (Date.now() - heard > GONE) main.hidden = true; }, 1000);
setInterval(look, EVERY);
