// For an oscilloscope that gives no data: two levels read off its screen, and the same verdict.
import { useState } from 'preact/hooks';
import { api, faultsOf, problemOf, type Problem } from '../../api';
import { accept, fromAssessment, reading, type Circuit } from '../../session';
import { text } from '../../text';
import type { Assessment } from '../../types';
import { Field, Problems, onSubmit } from '../../ui/parts';

const words = text.compensate.eye;

export function ByEye({ circuit }: { circuit: Circuit }) {
  const [start, setStart] = useState('');
  const [end, setEnd] = useState('');
  const [resolution, setResolution] = useState('0.05');
  const [frequency, setFrequency] = useState('1 kHz');
  const [problem, setProblem] = useState<Problem | null>(null);
  const [faults, setFaults] = useState<Record<string, string>>({});
  const go = async () => {
    setProblem(null);
    const missing: Record<string, string> = {};
    if (!start.trim()) missing['start'] = text.bench.fieldChecks.required;
    if (!end.trim()) missing['end'] = text.bench.fieldChecks.required;
    if (!resolution.trim()) missing['resolution'] = text.bench.fieldChecks.required;
    setFaults(missing);
    if (Object.keys(missing).length > 0) return;
    try {
      const number = (reading.peek()?.number ?? 0) + 1;
      const got = await api.send<Assessment>('POST', '/api/assess/by-eye', { start, end, resolution, ...(frequency ? { frequency } : {}), ...circuit });
      accept(fromAssessment(got, number, words.turn(number)));
    } catch (cause) {
      const found = problemOf(cause);
      setProblem(found);
      setFaults(faultsOf(problemOf(cause)));
    }
  };
  return (
    <section class="panel" aria-labelledby="eye-title">
      <h2 id="eye-title">{words.title}</h2>
      <p>{words.lead}</p>
      <form onSubmit={onSubmit(() => void go())} noValidate>
        <div class="grid">
          <Field name="start" label={words.start} value={start} change={setStart} error={faults['start']} placeholder="4.6" />
          <Field name="end" label={words.end} value={end} change={setEnd} error={faults['end']} placeholder="5" />
          <Field name="resolution" label={words.resolution} hint={words.resolutionHint} value={resolution} change={setResolution} error={faults['resolution']} />
          <Field name="frequency" label={words.frequency} hint={words.frequencyHint} value={frequency} change={setFrequency} error={faults['frequency']} />
        </div>
        <Problems problem={problem} />
        <button type="submit" class="primary">
          {words.go}
        </button>
      </form>
    </section>
  );
}
