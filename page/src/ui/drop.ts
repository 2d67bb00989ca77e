// A file can be dropped anywhere on the page; the page that is open says what happens to it.
import { signal } from '@preact/signals';

export const dragging = signal(false);

type Taker = (files: File[]) => void;
let taker: Taker | null = null;

/** What the open page does with files; gives back how to stop. */
export function takeFiles(take: Taker): () => void {
  taker = take;
  return () => {
    if (taker === take) taker = null;
  };
}

export function watchDrops(otherwise: Taker): void {
  let depth = 0;
  const holdsFiles = (event: DragEvent) => event.dataTransfer?.types.includes('Files') ?? false;
  addEventListener('dragenter', (event) => {
    if (!holdsFiles(event)) return;
    depth += 1;
    dragging.value = true;
  });
  addEventListener('dragleave', (event) => {
    if (!holdsFiles(event)) return;
    depth = Math.max(0, depth - 1);
    if (depth === 0) dragging.value = false;
  });
  addEventListener('dragover', (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    if (event.dataTransfer) event.dataTransfer.dropEffect = 'copy';
  });
  addEventListener('drop', (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    depth = 0;
    dragging.value = false;
    const files = [...(event.dataTransfer?.files ?? [])];
    if (files.length > 0) (taker ?? otherwise)(files);
  });
}
