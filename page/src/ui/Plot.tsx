// A drawing that zooms and pans by wheel, pinch, drag and buttons, and says the same in a sentence and a table.
import { useEffect, useRef, useState } from 'preact/hooks';
import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import { LOCALE } from '../locale';
import { cell as plain, integer, percent, tick } from '../format';
import { text } from '../text';

export type Column = ArrayLike<number | null | undefined>;

export interface Series {
  label: string;
  /** Custom property of the style sheet that holds the colour. */
  ink: string;
  dash?: number[];
  width?: number;
  points?: boolean;
  /** Draws no line of its own: an edge of a band. */
  edge?: boolean;
  step?: boolean;
}

export interface Axis {
  label: string;
  unit: string;
  /** Values are shares, shown in per cent. */
  percent?: boolean;
  date?: boolean;
}

interface PlotProps {
  title: string;
  sentence: string;
  x: Axis & { log?: boolean };
  y: Axis;
  series: readonly Series[];
  /** Pairs of series, counted from 0, between which the area is filled: upper, lower. */
  bands?: readonly (readonly [number, number])[];
  /** x, then one column for each series. */
  data: readonly Column[];
  /** Horizontal lines, such as a tolerance. */
  lines?: readonly number[];
  height?: number;
  zoom?: boolean;
  /** Least half-height of the y axis around its middle, so that noise does not fill it. */
  least?: number;
  view?: (from: number, to: number, whole: boolean) => void;
  heading?: 'h2' | 'h3';
  rows?: number;
}

const ink = (name: string) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const TABLE_ROWS = 60;

function extent(columns: readonly Column[], least: number): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  for (const column of columns) {
    for (let at = 0; at < column.length; at += 1) {
      const value = column[at];
      if (value === null || value === undefined || !Number.isFinite(value)) continue;
      if (value < low) low = value;
      if (value > high) high = value;
    }
  }
  if (!(low <= high)) return [-1, 1];
  const middle = (low + high) / 2;
  const half = Math.max((high - low) * 0.54, least, Math.abs(middle) * 1e-6, 1e-15);
  return [middle - half, middle + half];
}

function date(value: number, form: Intl.DateTimeFormatOptions): string {
  return new Intl.DateTimeFormat(LOCALE, form).format(new Date(value * 1000));
}

function axisText(axis: Axis, value: number, step: number): string {
  if (axis.date) return date(value, { year: '2-digit', month: 'short', day: 'numeric' });
  return axis.percent ? tick(value * 100, '%', step * 100) : tick(value, axis.unit, step);
}

function cell(axis: Axis, value: number | null | undefined): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  if (axis.date) return date(value, { dateStyle: 'medium' });
  return axis.percent ? percent(value, 4) : plain(value, axis.unit);
}

export function Plot(props: PlotProps) {
  const { title, sentence, x, y, series, data, height = 260, zoom = true, heading = 'h3' } = props;
  const box = useRef<HTMLDivElement>(null);
  const chart = useRef<uPlot | null>(null);
  const latest = useRef(props);
  latest.current = props;
  const view = useRef<[number, number] | null>(null);
  const [shown, setShown] = useState<string>('');
  const [open, setOpen] = useState(false);

  const whole = (): [number, number] => {
    const column = latest.current.data[0]!;
    const first = column[0] ?? 0;
    const last = column[column.length - 1] ?? 1;
    return last > first ? [first, last] : [first - 0.5, first + 0.5];
  };
  const wholeView = useRef<[number, number]>([0, 1]);

  const set = (next: [number, number] | null) => {
    const plot = chart.current;
    if (!plot) return;
    const [from, to] = wholeView.current;
    if (next) {
      const forward = x.log ? Math.log : (value: number) => value;
      const back = x.log ? Math.exp : (value: number) => value;
      const full = forward(to) - forward(from);
      let low = forward(Math.max(next[0], x.log ? 1e-30 : -Infinity));
      let span = forward(next[1]) - low;
      if (span >= full * 0.999) next = null;
      else {
        span = Math.max(span, full * 1e-5);
        low = Math.min(Math.max(low, forward(from)), forward(to) - span);
        next = [back(low), back(low + span)];
      }
    }
    view.current = next;
    const [min, max] = next ?? wholeView.current;
    plot.setScale('x', { min, max });
    latest.current.view?.(min, max, next === null);
    setShown(next ? text.plot.window(axisText(x, min, (max - min) / 100), axisText(x, max, (max - min) / 100)) : '');
  };

  const by = (factor: number, shift: number, around = 0.5) => {
    const [min, max] = view.current ?? wholeView.current;
    const forward = x.log ? Math.log : (value: number) => value;
    const back = x.log ? Math.exp : (value: number) => value;
    const low = forward(min);
    const span = forward(max) - low;
    const next = span * factor;
    const start = low + (span - next) * around + span * shift;
    set([back(start), back(start + next)]);
  };

  const shape = JSON.stringify([series, x, y, props.bands, height]);

  useEffect(() => {
    const holder = box.current;
    if (!holder) return;
    const axis = (side: 0 | 1, what: Axis): uPlot.Axis => ({
      scale: side === 0 ? 'x' : 'y',
      stroke: () => ink('--soft'),
      grid: { stroke: () => ink('--rule'), width: 1 },
      ticks: { stroke: () => ink('--rule'), width: 1, size: 4 },
      font: '13px system-ui, sans-serif',
      ...(side === 1 ? { size: 76, space: 34 } : { space: 90, size: 34 }),
      ...(side === 0 && x.log
        ? {
            filter: (drawn: uPlot, splits: number[]) => {
              const shownDecades = Math.log10((drawn.scales['x']!.max ?? 10) / (drawn.scales['x']!.min ?? 1));
              const every = Math.max(1, Math.ceil((shownDecades * 72) / Math.max(1, drawn.width - 90)));
              return splits.map((value) => {
                const decade = Math.round(Math.log10(value));
                return Math.abs(Math.log10(value) - decade) < 1e-6 && decade % every === 0 ? value : null;
              });
            },
          }
        : {}),
      values: (_, splits, __, ___, step) => splits.map((value) => (value === null ? '' : axisText(what, value, x.log && side === 0 ? Math.abs(value) : step))),
    });
    const plot = new uPlot(
      {
        width: Math.max(200, holder.clientWidth),
        height,
        padding: [10, 30, 0, 0],
        legend: { show: false },
        cursor: { drag: { x: false, y: false, setScale: false }, points: { show: false } },
        select: { show: false, left: 0, top: 0, width: 0, height: 0 },
        scales: {
          x: { time: false, auto: false, distr: x.log ? 3 : 1, range: (_, min, max) => [min, max] },
          y: { auto: true, range: () => extent([...latest.current.data.slice(1), latest.current.lines ?? []], latest.current.least ?? 0) },
        },
        axes: [axis(0, x), axis(1, y)],
        series: [
          {},
          ...series.map((one): uPlot.Series => ({
            label: one.label,
            stroke: one.edge ? () => ink(one.ink) : () => ink(one.ink),
            width: one.edge ? (one.width ?? 0) : (one.width ?? 2),
            dash: one.dash,
            points: one.points ? { show: true, size: 7, fill: () => ink('--paper'), stroke: () => ink(one.ink), width: 2 } : { show: false },
            ...(one.points && one.width === 0 ? { paths: () => null } : {}),
            ...(one.step ? { paths: uPlot.paths.stepped!({ align: 1 }) } : {}),
          })),
        ],
        bands: (props.bands ?? []).map(([upper, lower]) => ({ series: [upper + 1, lower + 1] as [number, number], fill: () => ink('--band') })),
        hooks: {
          draw: [
            (drawn) => {
              const lines = latest.current.lines;
              if (!lines) return;
              const { ctx, bbox } = drawn;
              ctx.save();
              ctx.strokeStyle = ink('--within');
              ctx.setLineDash([6 * devicePixelRatio, 5 * devicePixelRatio]);
              ctx.lineWidth = 1.5 * devicePixelRatio;
              for (const line of lines) {
                const at = drawn.valToPos(line, 'y', true);
                ctx.beginPath();
                ctx.moveTo(bbox.left, at);
                ctx.lineTo(bbox.left + bbox.width, at);
                ctx.stroke();
              }
              ctx.restore();
            },
          ],
        },
      },
      latest.current.data as unknown as uPlot.AlignedData,
      holder,
    );
    plot.root.setAttribute('aria-hidden', 'true');
    chart.current = plot;
    wholeView.current = whole();
    const [min, max] = view.current ?? wholeView.current;
    plot.setScale('x', { min, max });

    const sizes = new ResizeObserver(() => {
      const width = Math.max(200, holder.clientWidth);
      if (width !== plot.width) plot.setSize({ width, height });
    });
    sizes.observe(holder);
    const scheme = matchMedia('(prefers-color-scheme: dark)');
    const recolour = () => plot.redraw(false, true);
    scheme.addEventListener('change', recolour);

    const over = plot.over;
    const stops = new AbortController();
    if (zoom) {
      const fraction = (event: { clientX: number }) => {
        const area = over.getBoundingClientRect();
        return Math.min(1, Math.max(0, (event.clientX - area.left) / area.width));
      };
      const fingers = new Map<number, { clientX: number }>();
      let gap = 0;
      const options = { signal: stops.signal };
      over.addEventListener(
        'wheel',
        (event) => {
          event.preventDefault();
          if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) by(1, (event.deltaX || event.deltaY) / 1000);
          else by(Math.exp(Math.max(-1, Math.min(1, event.deltaY / 300))), 0, fraction(event));
        },
        { ...options, passive: false },
      );
      over.addEventListener(
        'pointerdown',
        (event) => {
          fingers.set(event.pointerId, { clientX: event.clientX });
          over.setPointerCapture(event.pointerId);
        },
        options,
      );
      over.addEventListener(
        'pointermove',
        (event) => {
          const before = fingers.get(event.pointerId);
          if (!before) return;
          const width = over.getBoundingClientRect().width || 1;
          if (fingers.size === 1) {
            if (view.current) by(1, (before.clientX - event.clientX) / width);
            fingers.set(event.pointerId, { clientX: event.clientX });
            return;
          }
          fingers.set(event.pointerId, { clientX: event.clientX });
          const [one, two] = [...fingers.values()];
          const now = Math.abs(one!.clientX - two!.clientX);
          if (gap > 0 && now > 0) by(gap / now, 0, fraction({ clientX: (one!.clientX + two!.clientX) / 2 }));
          gap = now;
        },
        options,
      );
      const lift = (event: PointerEvent) => {
        fingers.delete(event.pointerId);
        gap = 0;
      };
      over.addEventListener('pointerup', lift, options);
      over.addEventListener('pointercancel', lift, options);
      over.addEventListener('dblclick', () => set(null), options);
    }
    return () => {
      stops.abort();
      sizes.disconnect();
      scheme.removeEventListener('change', recolour);
      plot.destroy();
      chart.current = null;
    };
  }, [shape, zoom]);

  useEffect(() => {
    const plot = chart.current;
    if (!plot) return;
    if (!view.current) wholeView.current = whole();
    const [min, max] = view.current ?? wholeView.current;
    plot.batch(() => {
      plot.setData(data as unknown as uPlot.AlignedData, false);
      plot.setScale('x', { min, max });
    });
  }, [data]);

  const Heading = heading;
  const count = data[0]!.length;
  const most = props.rows ?? TABLE_ROWS;
  const picked = open ? Array.from({ length: Math.min(count, most) }, (_, at) => (count <= most ? at : Math.round((at * (count - 1)) / (most - 1)))) : [];
  return (
    <figure class="plot">
      <figcaption>
        <Heading>{title}</Heading>
        <ul class="legend" aria-hidden="true">
          {series
            .filter((one) => !one.edge)
            .map((one) => (
              <li key={one.label}>
                <svg width="28" height="10" viewBox="0 0 28 10">
                  <line x1="0" y1="5" x2="28" y2="5" stroke={`var(${one.ink})`} stroke-width={one.width ?? 2} stroke-dasharray={one.dash?.join(' ')} />
                  {one.points && <circle cx="14" cy="5" r="3.5" fill="var(--paper)" stroke={`var(${one.ink})`} stroke-width="2" />}
                </svg>
                {one.label}
              </li>
            ))}
        </ul>
        <p class="sentence">{sentence}</p>
      </figcaption>
      <div class="canvas" ref={box} />
      {zoom && (
        <div class="tools" role="group" aria-label={text.plot.group(title)}>
          <button type="button" class="small" aria-label={text.plot.zoomIn} title={text.plot.zoomIn} onClick={() => by(0.5, 0)}>
            <span aria-hidden="true">+</span>
          </button>
          <button type="button" class="small" aria-label={text.plot.zoomOut} title={text.plot.zoomOut} onClick={() => by(2, 0)}>
            <span aria-hidden="true">−</span>
          </button>
          <button type="button" class="small" aria-label={text.plot.left} title={text.plot.left} onClick={() => by(1, -0.25)}>
            <span aria-hidden="true">←</span>
          </button>
          <button type="button" class="small" aria-label={text.plot.right} title={text.plot.right} onClick={() => by(1, 0.25)}>
            <span aria-hidden="true">→</span>
          </button>
          <button type="button" class="small" onClick={() => set(null)}>
            {text.plot.whole}
          </button>
          <span class="hint">{shown || text.plot.help}</span>
        </div>
      )}
      <details onToggle={(event) => setOpen(event.currentTarget.open)}>
        <summary>
          {text.plot.data}
          <span class="hidden">: {title}</span>
        </summary>
        {open && (
          <div class="scroll tall" role="group" aria-label={`${title}, ${text.plot.data}`} tabIndex={0}>
            {count > most && <p class="hint">{text.plot.truncated(integer(most), integer(count))}</p>}
            <table>
              <thead>
                <tr>
                  <th scope="col">{x.label}</th>
                  {series.map((one) => (
                    <th scope="col" key={one.label}>
                      {one.label}
                    </th>
                  ))}
                </tr>
              </thead>
              <tbody>
                {picked.map((at) => (
                  <tr key={at}>
                    <th scope="row">{cell(x, data[0]![at])}</th>
                    {series.map((one, index) => (
                      <td key={one.label}>{cell(y, data[index + 1]![at])}</td>
                    ))}
                  </tr>
                ))}
              </tbody>
            </table>
          </div>
        )}
      </details>
    </figure>
  );
}
