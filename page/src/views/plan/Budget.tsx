// How sure a reading is, and what makes it unsure: law of propagation and Monte Carlo side by side.
import { useState } from 'preact/hooks';
import { api, problemOf, type Problem } from '../../api';
import { number, share, si } from '../../format';
import { text } from '../../text';
import type { Budget as BudgetAnswer } from '../../types';
import { Cards, Choose, Field, Findings, onSubmit, Problems } from '../../ui/parts';
import { planOf, type Wish } from './Plan';

const words = text.plan;

/** What can be read off which signal. */
const READ: Record<string, readonly string[]> = {
  sine: ['amplitude', 'peak-to-peak', 'mean', 'rms'],
  square: ['peak-to-peak', 'transition-duration', 'mean', 'rms'],
  edge: ['peak-to-peak', 'transition-duration'],
};

export function Budget({ wish }: { wish: Wish }) {
  const quantities = READ[wish.shape] ?? READ['edge']!;
  const [wanted, setQuantity] = useState('');
  const quantity = quantities.includes(wanted) ? wanted : quantities[0]!;
  const [gain, setGain] = useState('0 % ± 1.5 %');
  const [noise, setNoise] = useState('10 mV');
  const [answer, setAnswer] = useState<BudgetAnswer | null>(null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);
  const go = async () => {
    setBusy(true);
    setProblem(null);
    try {
      const reading = { quantity, gain, noise, ...(quantity === 'amplitude' ? { frequencies: [wish.frequency] } : {}) };
      setAnswer(await api.send<BudgetAnswer>('POST', '/api/plan/budget', { plan: { ...planOf(wish), reading } }));
    } catch (cause) {
      setAnswer(null);
      setProblem(problemOf(cause));
    } finally {
      setBusy(false);
    }
  };
  const result = answer?.results[0];
  return (
    <section class="panel" aria-labelledby="plan-budget">
      <h2 id="plan-budget">{words.budget}</h2>
      <form onSubmit={onSubmit(() => void go())}>
        <div class="grid">
          <Choose name="quantity" label={words.budgetRead} value={quantity} change={setQuantity} options={quantities.map((one): [string, string] => [one, words.budgetQuantity[one] ?? one])} />
          <Field name="gain" label={words.budgetGain} value={gain} change={setGain} />
          <Field name="noise" label={words.budgetNoise} value={noise} change={setNoise} />
        </div>
        <button type="submit" disabled={busy}>
          {busy ? text.loading : words.budgetGo}
        </button>
      </form>
      <Problems problem={problem} />
      {answer && result && (
        <>
          <p class="headline">{words.budgetResult(si(result.propagation.value, answer.unit, 4), si(result.propagation.expanded_uncertainty, answer.unit, 2), share(answer.coverage_probability))}</p>
          {result.monte_carlo && <p>{words.budgetMonte(si(result.monte_carlo.shortest_interval[0], answer.unit, 4), si(result.monte_carlo.shortest_interval[1], answer.unit, 4))}</p>}
          {result.validation && <p>{words.budgetValid[result.validation.verdict]}</p>}
          <Cards label={words.budget}>
            <table>
              <thead>
                <tr>
                  <th scope="col">{words.budgetInput}</th>
                  <th scope="col">{words.budgetValue}</th>
                  <th scope="col">{words.budgetU}</th>
                  <th scope="col">{words.budgetType}</th>
                  <th scope="col">{words.budgetShare}</th>
                </tr>
              </thead>
              <tbody>
                {answer.inputs
                  .map((one, at) => ({ one, term: result.propagation.terms[at] }))
                  .sort((a, b) => (b.term?.share ?? 0) - (a.term?.share ?? 0))
                  .map(({ one, term }) => (
                    <tr key={one.name}>
                      <th scope="row">
                        <code>{one.name}</code>
                      </th>
                      <td>{one.unit ? si(one.value, one.unit) : number(one.value, 3)}</td>
                      <td>{one.unit ? si(one.standard_uncertainty, one.unit, 2) : number(one.standard_uncertainty, 2)}</td>
                      <td>{one.evaluation}</td>
                      <td>{share(term?.share)}</td>
                    </tr>
                  ))}
              </tbody>
            </table>
          </Cards>
          <Findings findings={answer.findings} heading="h3" />
        </>
      )}
    </section>
  );
}
