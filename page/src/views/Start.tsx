// The first page: drop a capture and read the verdict, look around in the demo, or put one's own things on the bench.
import { useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../api';
import { href } from '../router';
import { about, bench, labelled, reload } from '../state';
import { text } from '../text';
import { Caution, PickFile, Problems } from '../ui/parts';

const words = text.start;

export function Start({ take }: { take: (files: File[]) => void }) {
  const [problem, setProblem] = useState<Problem | null>(null);
  const [opening, setOpening] = useState(false);
  const known = about.value;
  const empty = known?.bench?.empty ?? true;
  const pairings = (bench.value?.pairings ?? []).filter((one) => one.voided_at === null);
  const wanting = pairings.filter((one) => one.state !== 'in-tolerance');
  const openDemo = async () => {
    setOpening(true);
    setProblem(null);
    try {
      await api.send('POST', '/api/demo', {});
      await reload();
    } catch (cause) {
      setProblem(problemOf(cause));
    } finally {
      setOpening(false);
    }
  };
  return (
    <>
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lead">{words.lead}</p>
      <section class="panel drop hero" aria-labelledby="start-drop">
        <h2 id="start-drop">{words.dropTitle}</h2>
        <p>{words.dropLead}</p>
        <PickFile label={words.pick} pick={take} many primary />
      </section>
      {!empty && (
        <section class="panel" aria-labelledby="start-bench">
          <h2 id="start-bench">{words.benchTitle}</h2>
          <p>{pairings.length === 0 ? words.benchNoPairs : words.benchLead(wanting.length, pairings.length)}</p>
          {wanting.length > 0 && (
            <ul class="plainlist">
              {wanting.slice(0, 6).map((one) => (
                <li key={one.number}>
                  <span aria-hidden="true">{text.bench.stateSymbol[one.state]}</span> {labelled(one.probe)} on {labelled(one.input)}: {text.bench.states[one.state] ?? one.state}.{' '}
                  <a href={href('compensate', { probe: one.probe, input: one.input })}>
                    {words.checkLink}
                    <span class="hidden">
                      : {one.probe} on {one.input}
                    </span>
                  </a>
                </li>
              ))}
            </ul>
          )}
          <p>
            <a href={href('bench')}>{words.benchLink}</a>
          </p>
        </section>
      )}
      <div class="cards">
        {known?.sources.practice && (
          <section class="panel" aria-labelledby="start-practice">
            <h2 id="start-practice">{words.practiceTitle}</h2>
            <p>{words.practiceLead}</p>
            <a class="button" href={href('compensate', { source: 'practice' })}>
              {words.practiceLink}
            </a>
          </section>
        )}
        <section class="panel" aria-labelledby="start-eye">
          <h2 id="start-eye">{words.eyeTitle}</h2>
          <p>{words.eyeLead}</p>
          <a class="button" href={href('compensate', { source: 'eye' })}>
            {words.eyeLink}
          </a>
        </section>
        <section class="panel" aria-labelledby="start-demo">
          <h2 id="start-demo">{words.demoTitle}</h2>
          <p>{words.demoLead}</p>
          {known?.demo ? (
            <p>
              <a href={href('bench')}>{words.demoNow}</a>
            </p>
          ) : !known?.demo_available ? (
            <p>
              {words.demoCommand} <code>flattop serve --demo --open</code>
            </p>
          ) : (
            <button type="button" disabled={opening} onClick={() => void openDemo()}>
              {opening ? words.demoOpening : words.demoOpen}
            </button>
          )}
          <Problems problem={problem} dismiss={() => setProblem(null)} />
        </section>
        <section class="panel" aria-labelledby="start-add">
          <h2 id="start-add">{words.addTitle}</h2>
          <p>{words.addLead}</p>
          <p class="row">
            <a class="button" href={href('bench', { add: 'oscilloscope' })}>
              {words.addInstrument}
            </a>
            <a class="button" href={href('bench', { add: 'probe' })}>
              {words.addProbe}
            </a>
          </p>
        </section>
      </div>
      <Caution points={text.caution.points} />
    </>
  );
}
