// The offer to record before and after, once the reading has stayed inside the tolerance.
import { useEffect, useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { integer } from '../../format';
import { reading, session } from '../../session';
import { about, reload } from '../../state';
import { text } from '../../text';
import { announce } from '../../ui/live';
import { Field, Problems, onSubmit } from '../../ui/parts';

const words = text.compensate.log;

export function Log() {
  const [by, setBy] = useState(about.value?.by ?? '');
  const [note, setNote] = useState('');
  const [done, setDone] = useState<string | null>(null);
  const [later, setLater] = useState(false);
  const [problem, setProblem] = useState<Problem | null>(null);
  const now = session.value;
  const read = reading.value;
  const id = now?.id;
  useEffect(() => {
    setDone(null);
    setLater(false);
    setProblem(null);
  }, [id]);
  if (!now || !read) return null;
  const can = now.can_log;
  const held = read.hold > 0 && read.held >= read.hold;
  const offers = now.pairing !== null && (can.after || can.check);
  if (done) {
    return (
      <section class="panel offer" aria-labelledby="log-title">
        <h2 id="log-title">{words.title}</h2>
        <p role="status">✓ {done}</p>
      </section>
    );
  }
  if (!held || later) return null;
  if (!offers) {
    return now.pairing === null ? <p class="soft">{words.needsPairing}</p> : null;
  }
  const record = async () => {
    setProblem(null);
    const doing = { ...(by ? { by } : {}), ...(note ? { note } : {}) };
    const stages = can.check && !can.after ? ['check'] : can.before ? ['before', 'after'] : ['after'];
    const entries: string[] = [];
    try {
      for (const stage of stages) {
        const made = await api.send<{ stage: string; entry: number }>('POST', `/api/sessions/${encodeURIComponent(now.id)}/log`, { stage, ...doing });
        entries.push(words.entry(made.entry, words.stage[made.stage] ?? made.stage));
      }
      const said = words.done(entries.join(', '));
      setDone(said);
      announce(said);
      void reload();
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  return (
    <section class="panel offer" aria-labelledby="log-title">
      <h2 id="log-title">{words.title}</h2>
      <p>{words.offer(integer(read.held))}</p>
      <form onSubmit={onSubmit(() => void record())}>
        <div class="grid">
          <Field label={words.by} value={by} change={setBy} />
          <Field label={words.note} value={note} change={setNote} />
        </div>
        <Problems problem={problem} />
        <div class="row">
          <button type="submit" class="primary">
            {can.check && !can.after ? words.check : words.both}
          </button>
          <button type="button" class="quiet" onClick={() => setLater(true)}>
            {words.later}
          </button>
        </div>
      </form>
    </section>
  );
}
