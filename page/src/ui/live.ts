// One polite live region, spoken to at most once every few seconds: the newest words win.
import { signal } from '@preact/signals';

const QUIET_MS = 3000;

export const spoken = signal('');
let last = 0;
let waiting: string | null = null;
let timer: number | undefined;

function speak(words: string): void {
  last = performance.now();
  spoken.value = words;
}

export function announce(words: string): void {
  const now = performance.now();
  if (now - last >= QUIET_MS) {
    speak(words);
    return;
  }
  waiting = words;
  timer ??= window.setTimeout(
    () => {
      timer = undefined;
      if (waiting !== null) speak(waiting);
      waiting = null;
    },
    QUIET_MS - (now - last),
  );
}
