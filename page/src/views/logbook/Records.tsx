// Records to print and to keep: the bench as it stands, a period, or one assessment.
import { useState } from 'preact/hooks';
import { path } from '../../api';
import { text } from '../../text';
import { Choose, Field } from '../../ui/parts';

const words = text.logbook;

function today(monthsBack: number): string {
  const date = new Date();
  date.setMonth(date.getMonth() - monthsBack);
  return date.toISOString().slice(0, 10);
}

export function Records() {
  const [kind, setKind] = useState('bench');
  const [entry, setEntry] = useState('');
  const [from, setFrom] = useState(today(12));
  const [to, setTo] = useState(today(0));
  const [laboratory, setLaboratory] = useState('');
  const [issuedBy, setIssuedBy] = useState('');
  const [customer, setCustomer] = useState('');
  const [paper, setPaper] = useState('a4');
  const query = {
    ...(kind === 'assessment' ? { entry } : {}),
    ...(kind === 'period' ? { from, to } : {}),
    laboratory,
    issued_by: issuedBy,
    customer,
    paper,
  };
  const ready = kind !== 'assessment' || /^\d+$/.test(entry.trim());
  return (
    <section class="panel" aria-labelledby="log-records">
      <h2 id="log-records">{words.records}</h2>
      <div class="grid">
        <Choose
          name="record"
          label={words.record}
          value={kind}
          change={setKind}
          options={[
            ['bench', words.recordBench],
            ['period', words.recordPeriod],
            ['assessment', words.recordAssessment],
          ]}
        />
        {kind === 'assessment' && <Field name="entry" label={text.correct.entry} value={entry} change={setEntry} error={entry && !ready ? words.entryNumber : null} />}
        {kind === 'period' && <Field name="from" label={words.from} type="date" value={from} change={setFrom} />}
        {kind === 'period' && <Field name="to" label={words.to} type="date" value={to} change={setTo} />}
        <Field name="laboratory" label={words.laboratory} hint={text.optional} value={laboratory} change={setLaboratory} />
        <Field name="issued_by" label={words.issuedBy} hint={text.optional} value={issuedBy} change={setIssuedBy} />
        <Field name="customer" label={words.customer} hint={text.optional} value={customer} change={setCustomer} />
        <Choose
          name="paper"
          label={words.paper}
          value={paper}
          change={setPaper}
          options={[
            ['a4', 'A4'],
            ['letter', 'Letter'],
          ]}
        />
      </div>
      {ready ? (
        <div class="row">
          <a class="button primary" href={path(`/api/records/${kind}.html`, query)} target="_blank" rel="noopener">
            {words.html}
          </a>
          <a class="button" href={path(`/api/records/${kind}.pdf`, { ...query, save: 'true' })}>
            {words.pdf}
          </a>
        </div>
      ) : (
        <p class="soft">{words.entryNumber}</p>
      )}
      <p class="hint">{words.notStated}</p>
    </section>
  );
}
