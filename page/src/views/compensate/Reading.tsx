// The one large reading: e, which way, how far, and where it stands against the tolerance.
import { percent, percentParts, picofarads, share, siWith } from '../../format';
import { text } from '../../text';
import type { Adjustment, TrimCapture, Verdict } from '../../types';

const words = text.compensate;

export function says(verdict: Verdict): string {
  return { undercompensated: words.says.under, overcompensated: words.says.over, 'within-tolerance': words.says.within, undetermined: words.says.undetermined }[verdict];
}

/** What to do, in words. */
export function turnWords(adjustment: Adjustment | null, verdict: Verdict): string {
  if (!adjustment) return '';
  if (adjustment.direction === 'none') return words.turn.none;
  const size = { value: Math.abs(adjustment.change_f), standard_uncertainty: adjustment.change_standard_uncertainty_f };
  if (verdict === 'within-tolerance') {
    const sign = adjustment.direction === 'increase' ? '+' : '−';
    return `${words.turn.none} ${words.turn.left(sign + siWith(size, 'F'))}`;
  }
  const change = siWith(size, 'F');
  const tip = adjustment.at === 'tip';
  if (adjustment.direction === 'increase') return tip ? words.turn.increaseTip(change) : words.turn.increaseBase(change);
  return tip ? words.turn.decreaseTip(change) : words.turn.decreaseBase(change);
}

/** Position along the scale, −1 to 1: even around nil, compressed outwards. */
function place(ratio: number): number {
  const position = Math.asinh(ratio) / Math.asinh(60);
  return Math.max(-1, Math.min(1, position));
}

function Band({ error, tolerance }: { error: number; tolerance: number }) {
  const at = (ratio: number) => 300 + 280 * place(ratio);
  const here = at(error / tolerance);
  const inside = Math.abs(error) <= tolerance;
  return (
    <figure class="band">
      <svg viewBox="0 0 600 86" role="img" aria-label={words.band.label(percent(error), share(tolerance))}>
        <rect class="inside" x={at(-1)} y="22" width={at(1) - at(-1)} height="24" rx="2" />
        <line class="rail" x1="20" y1="34" x2="580" y2="34" />
        {[-10, -1, 0, 1, 10].map((ratio) => (
          <g key={ratio}>
            <line class={Math.abs(ratio) === 1 ? 'limit' : 'rail'} x1={at(ratio)} y1={Math.abs(ratio) === 1 ? 18 : 28} x2={at(ratio)} y2={Math.abs(ratio) === 1 ? 50 : 40} />
            <text class={`at${Math.abs(ratio)}`} x={at(ratio)} y="68" text-anchor={ratio === -1 ? 'end' : ratio === 1 ? 'start' : 'middle'}>
              {ratio === 0 ? '0' : percent(ratio * tolerance, 2)}
            </text>
          </g>
        ))}
        <text class="end" x="20" y="14">
          ▼ {words.band.low}
        </text>
        <text class="end" x="580" y="14" text-anchor="end">
          {words.band.high} ▲
        </text>
        {inside ? (
          <circle class="here within" cx={here} cy="34" r="9" />
        ) : (
          <path class={`here ${error < 0 ? 'under' : 'over'}`} d={error < 0 ? `M${here - 10} 24h20l-10 20z` : `M${here - 10} 44h20l-10 -20z`} />
        )}
      </svg>
    </figure>
  );
}

export function Reading({ now }: { now: TrimCapture }) {
  const error = now.compensation_error;
  const parts = error ? percentParts(error) : null;
  const adjustment = now.adjustment;
  const travel = now.travel?.trimmer_f ?? null;
  return (
    <section class={`reading ${now.verdict}`} aria-labelledby="reading-title" data-number={now.number} data-verdict={now.verdict}>
      <h2 id="reading-title" class="hidden">
        {words.reading}
      </h2>
      <div class="large">
        <p class="verdict">
          <span class="sign" aria-hidden="true">
            {text.verdictSymbol[now.verdict]}
          </span>{' '}
          {text.verdict[now.verdict]}
        </p>
        <p class="e" style={{ '--chars': String(Math.max(4, parts ? parts[0].length : words.noEstimate.length)) }}>
          <span class="hidden">{words.errorName}: </span>
          {parts ? (
            <>
              <span class="digits">{parts[0]}</span>
              <span class="unit"> %</span>
            </>
          ) : (
            <span class="digits">{words.noEstimate}</span>
          )}
        </p>
        <p class="sure">{parts ? (parts[1] === null ? words.noUncertainty : words.sure(parts[1])) : ''}</p>
        <p class="says">{says(now.verdict)}</p>
      </div>
      <div class="turn">
        <p class="do">{turnWords(adjustment, now.verdict) || (now.verdict === 'undetermined' ? words.says.undetermined : '')}</p>
        <dl class="figures">
          <div>
            <dt>{words.toGo}</dt>
            <dd class="digits">{adjustment ? picofarads(adjustment.change_f) : '–'}</dd>
          </div>
          <div>
            <dt>{words.come}</dt>
            <dd class="digits">{travel ? picofarads(travel.value) : '–'}</dd>
          </div>
          <div>
            <dt>{words.phaseTitle}</dt>
            <dd>
              {words.phase[now.phase]}
              {now.heading ? `, ${words.heading[now.heading]}` : ''}
            </dd>
          </div>
          <div>
            <dt>{words.heldTitle}</dt>
            <dd>{words.held(now.held, now.hold)}</dd>
          </div>
        </dl>
      </div>
      {error && <Band error={error.value} tolerance={now.tolerance} />}
      <p class="hint from">
        {words.capture(String(now.number), now.capture)}
        {!now.used && ` ${words.unused}`}
      </p>
    </section>
  );
}
