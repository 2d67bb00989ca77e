// The error as sound, for eyes that are on the screwdriver. Off until asked.
// Outside the tolerance: short tones that glide, upwards while e reads low, downwards while it reads high; lower and slower as the error shrinks.
// Inside: one steady tone. Silent when no capture has come for a while, so that a dead source is not taken for a still one.
import { signal } from '@preact/signals';

export interface Heard {
  /** e over the tolerance, with the sign of e; null: nothing to tell. */
  ratio: number | null;
}

const HOME_HZ = 330;
const STALE_MS = 5000;
const LOOK_AHEAD_S = 0.12;

export const soundOn = signal(false);
export const muted = signal(false);
export const volume = signal(0.5);
export const soundFails = signal(false);

let context: AudioContext | null = null;
let master: GainNode | null = null;
let steady: { oscillator: OscillatorNode; gain: GainNode } | null = null;
let next = 0;
let timer: number | undefined;
let ratio: number | null = null;
let heardAt = -Infinity;

function loudness(): number {
  return muted.peek() ? 0 : volume.peek() ** 2 * 0.6;
}

/** Pitch and gap of the short tones for an error so many tolerances large. */
export function toneFor(size: number): { hertz: number; gap: number } {
  const octaves = Math.min(2.2, 0.35 + 0.42 * Math.log2(Math.max(1, size)));
  return { hertz: HOME_HZ * 2 ** octaves, gap: Math.max(0.16, 0.62 - 0.2 * octaves) };
}

function chirp(at: number, size: number, up: boolean): number {
  if (!context || !master) return at;
  const { hertz, gap } = toneFor(size);
  const oscillator = context.createOscillator();
  const gain = context.createGain();
  oscillator.type = up ? 'triangle' : 'sawtooth';
  const [from, to] = up ? [hertz / 1.26, hertz * 1.26] : [hertz * 1.26, hertz / 1.26];
  oscillator.frequency.setValueAtTime(from, at);
  oscillator.frequency.exponentialRampToValueAtTime(to, at + 0.12);
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(up ? 0.9 : 0.4, at + 0.015);
  gain.gain.linearRampToValueAtTime(0, at + 0.13);
  oscillator.connect(gain).connect(master);
  oscillator.start(at);
  oscillator.stop(at + 0.14);
  return at + gap;
}

function hold(on: boolean): void {
  if (!context || !master) return;
  if (on && !steady) {
    const oscillator = context.createOscillator();
    const gain = context.createGain();
    oscillator.frequency.value = HOME_HZ;
    gain.gain.setValueAtTime(0, context.currentTime);
    gain.gain.linearRampToValueAtTime(0.7, context.currentTime + 0.05);
    oscillator.connect(gain).connect(master);
    oscillator.start();
    steady = { oscillator, gain };
  } else if (!on && steady) {
    const { oscillator, gain } = steady;
    gain.gain.cancelScheduledValues(context.currentTime);
    gain.gain.setTargetAtTime(0, context.currentTime, 0.02);
    oscillator.stop(context.currentTime + 0.15);
    steady = null;
  }
}

function run(): void {
  if (!context) return;
  const now = context.currentTime;
  const stale = performance.now() - heardAt > STALE_MS;
  if (ratio === null || stale) {
    hold(false);
    next = now;
    return;
  }
  const inside = Math.abs(ratio) <= 1;
  hold(inside);
  if (inside) {
    next = now;
    return;
  }
  if (next < now) next = now + 0.01;
  while (next < now + LOOK_AHEAD_S) next = chirp(next, Math.abs(ratio), ratio < 0);
}

export async function turnOn(): Promise<void> {
  try {
    context ??= new AudioContext();
    if (!master) {
      master = context.createGain();
      master.connect(context.destination);
    }
    await context.resume();
    soundOn.value = true;
    setLoudness();
    timer ??= window.setInterval(run, 50);
  } catch {
    soundFails.value = true;
  }
}

export function turnOff(): void {
  soundOn.value = false;
  hold(false);
  if (timer !== undefined) clearInterval(timer);
  timer = undefined;
  void context?.suspend();
}

export function setLoudness(): void {
  if (context && master) master.gain.setTargetAtTime(loudness(), context.currentTime, 0.02);
}

/** What the newest capture says. */
export function hear(heard: Heard): void {
  ratio = heard.ratio;
  heardAt = performance.now();
  if (soundOn.peek()) run();
}

/** Lets one hear what is to come. */
export function sample(heard: number): void {
  const before = ratio;
  hear({ ratio: heard });
  window.setTimeout(() => {
    if (ratio === heard) hear({ ratio: before });
    if (before === null) hold(false);
  }, 1200);
}
