// Record with fit, residual, error against frequency, and the captures of the session, each with its words.
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import uPlot from 'uplot';
import { api, path } from '../../api';
import { integer, percent, si } from '../../format';
import type { Turn } from '../../session';
import { text } from '../../text';
import type { Drawing, ErrorBand, Numbers, RecordWindow } from '../../types';
import { Plot, type Column } from '../../ui/Plot';

const words = text.compensate;
const STRETCHES = 900;

function lowest(column: Numbers): number {
  let found = Infinity;
  for (const value of column) if (value !== null && value < found) found = value;
  return found;
}

function highest(column: Numbers): number {
  let found = -Infinity;
  for (const value of column) if (value !== null && value > found) found = value;
  return found;
}

/** Asks for a closer look at what is shown, one request at a time, the newest wish winning. */
function useWindow(url: string | null, fresh: unknown): [RecordWindow | null, (from: number, to: number, whole: boolean) => void] {
  const [closer, setCloser] = useState<RecordWindow | null>(null);
  const wish = useRef<[number, number] | null>(null);
  const flying = useRef(false);
  const address = useRef(url);
  address.current = url;

  const fly = async () => {
    if (flying.current) return;
    flying.current = true;
    try {
      while (wish.current && address.current) {
        const [from, to] = wish.current;
        const margin = (to - from) * 0.5;
        const got = await api.get<RecordWindow>(path(address.current, { from_s: from - margin, to_s: to + margin, stretches: STRETCHES * 2 }));
        if (wish.current) setCloser(got);
        if (wish.current?.[0] === from && wish.current[1] === to) break;
      }
    } catch {
      // the drawing keeps what it has
    } finally {
      flying.current = false;
    }
  };

  useEffect(() => {
    if (wish.current) void fly();
  }, [fresh]);

  return [
    closer,
    (from, to, whole) => {
      wish.current = whole ? null : [from, to];
      if (whole) setCloser(null);
      else void fly();
    },
  ];
}

export function RecordDrawing({ drawing, windowUrl }: { drawing: Drawing; windowUrl: string | null }) {
  const [closer, view] = useWindow(windowUrl, drawing);
  const data = useMemo<readonly Column[]>(() => {
    if (!closer) return [drawing.time_s, drawing.high_v, drawing.low_v, drawing.fit_v];
    return uPlot.join([
      [closer.time_s, closer.high_v, closer.low_v],
      [drawing.time_s, drawing.fit_v],
    ] as unknown as uPlot.AlignedData[]) as unknown as Column[];
  }, [drawing, closer]);
  const sentence = words.record.sentence(integer(drawing.time_s.length), si(lowest(drawing.low_v), 'V'), si(highest(drawing.high_v), 'V'));
  return (
    <Plot
      title={words.record.title}
      sentence={sentence}
      x={{ label: words.record.time, unit: 's' }}
      y={{ label: words.record.volts, unit: 'V' }}
      series={[
        { label: words.record.captured, ink: '--ink-1', width: 1 },
        { label: `${words.record.captured} (low)`, ink: '--ink-1', width: 1, edge: true },
        { label: words.record.fit, ink: '--ink-2', width: 2.5, dash: [9, 5] },
      ]}
      bands={[[0, 1]]}
      data={data}
      view={view}
      heading="h2"
    />
  );
}

export function ResidualDrawing({ drawing }: { drawing: Drawing }) {
  const data = useMemo<readonly Column[]>(() => [drawing.time_s, drawing.residual_v], [drawing]);
  let sum = 0;
  let count = 0;
  let largest = 0;
  for (const value of drawing.residual_v) {
    if (value === null) continue;
    sum += value * value;
    count += 1;
    largest = Math.max(largest, Math.abs(value));
  }
  return (
    <Plot
      title={words.residual.title}
      sentence={words.residual.sentence(si(count ? Math.sqrt(sum / count) : 0, 'V', 2), si(largest, 'V', 2))}
      x={{ label: words.record.time, unit: 's' }}
      y={{ label: words.residual.series, unit: 'V' }}
      series={[{ label: words.residual.series, ink: '--ink-3', width: 1 }]}
      data={data}
      height={170}
      heading="h2"
    />
  );
}

export function ErrorDrawing({ error, tolerance, heading = 'h2' }: { error: ErrorBand; tolerance: number; heading?: 'h2' | 'h3' }) {
  const data = useMemo<readonly Column[]>(() => [error.frequency_hz, error.value, error.high, error.low], [error]);
  return (
    <Plot
      title={words.error.title}
      sentence={words.error.sentence(percent(error.value[0]), percent(error.value[error.value.length - 1]))}
      x={{ label: words.error.frequency, unit: 'Hz', log: true }}
      y={{ label: words.error.amplitude, unit: '', percent: true }}
      series={[
        { label: words.error.amplitude, ink: '--ink-1', width: 2.5 },
        { label: words.error.high, ink: '--ink-1', edge: true },
        { label: words.error.low, ink: '--ink-1', edge: true },
      ]}
      bands={[[1, 2]]}
      lines={[-tolerance, tolerance]}
      least={tolerance * 1.3}
      data={data}
      heading={heading}
    />
  );
}

export function TurnsDrawing({ turns, tolerance }: { turns: readonly Turn[]; tolerance: number }) {
  const used = turns.filter((turn) => turn.error !== null);
  const data = useMemo<readonly Column[]>(() => {
    const rows = turns.filter((turn) => turn.error !== null);
    return [rows.map((turn) => turn.number), rows.map((turn) => turn.error)];
  }, [turns]);
  if (used.length < 2) return null;
  return (
    <Plot
      title={words.history.drawing}
      sentence={words.history.sentence(integer(used.length), percent(used[0]!.error), percent(used[used.length - 1]!.error))}
      x={{ label: words.history.number, unit: '' }}
      y={{ label: 'e', unit: '', percent: true }}
      series={[{ label: 'e', ink: '--ink-1', points: true }]}
      lines={[-tolerance, tolerance]}
      least={tolerance * 1.3}
      data={data}
      height={180}
      zoom={false}
    />
  );
}
