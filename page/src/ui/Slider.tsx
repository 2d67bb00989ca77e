// A slider over preferred values, so that a small movement is a small change over many decades.
import { useId } from 'preact/hooks';
import { siShort } from '../format';

const STEPS = [1, 1.5, 2.2, 3.3, 4.7, 6.8];

/** Preferred values (E6 series, IEC 60063) from `least` to `most`; with nil in front where `nil`. */
export function preferred(least: number, most: number, nil: 'nil' | 'none'): number[] {
  const values: number[] = nil === 'nil' ? [0] : [];
  for (let decade = Math.floor(Math.log10(least)); decade <= Math.log10(most); decade += 1) {
    for (const step of STEPS) {
      const value = Number(`${step}e${decade}`);
      if (value >= least * 0.999 && value <= most * 1.001) values.push(value);
    }
  }
  return values;
}

export function Slider({ label, unit, values, value, change, name }: { label: string; unit: string; values: readonly number[]; value: number; change: (value: number) => void; name: string }) {
  const id = useId();
  let at = 0;
  values.forEach((one, index) => {
    if (Math.abs(one - value) < Math.abs(values[at]! - value)) at = index;
  });
  const words = siShort(value, unit);
  return (
    <div class="slider">
      <label for={id}>
        <span>{label}</span>
        <span class="at" aria-hidden="true">
          {words}
        </span>
      </label>
      <input
        id={id}
        name={name}
        type="range"
        min="0"
        max={String(values.length - 1)}
        step="1"
        value={String(at)}
        aria-valuetext={words}
        onInput={(event) => change(values[Number(event.currentTarget.value)]!)}
      />
    </div>
  );
}
