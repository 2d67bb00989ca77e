// On, off, mute and volume; and what the tones mean.
import { muted, sample, setLoudness, soundFails, soundOn, turnOff, turnOn, volume } from '../../sound';
import { text } from '../../text';
import { useId } from 'preact/hooks';

const words = text.compensate.sound;

export function Sound() {
  const id = useId();
  return (
    <section class="panel sound" aria-labelledby={`${id}-title`}>
      <h2 id={`${id}-title`}>{words.title}</h2>
      <div class="row">
        <button type="button" class={soundOn.value ? '' : 'primary'} aria-pressed={soundOn.value} onClick={() => (soundOn.value ? turnOff() : void turnOn())}>
          <span aria-hidden="true">{soundOn.value ? '◼ ' : '♪ '}</span>
          {soundOn.value ? words.off : words.on}
        </button>
        {soundOn.value && (
          <>
            <button
              type="button"
              aria-pressed={muted.value}
              onClick={() => {
                muted.value = !muted.value;
                setLoudness();
              }}
            >
              {muted.value ? words.unmute : words.mute}
            </button>
            <label class="slide" for={`${id}-volume`}>
              {words.volume}
              <input
                id={`${id}-volume`}
                type="range"
                min="0"
                max="1"
                step="0.05"
                value={volume.value}
                onInput={(event) => {
                  volume.value = Number(event.currentTarget.value);
                  setLoudness();
                }}
              />
            </label>
            <button type="button" class="quiet" onClick={() => sample(-6)}>
              {words.try}
            </button>
            <button type="button" class="quiet" onClick={() => sample(6)}>
              {words.tryHigh}
            </button>
            <button type="button" class="quiet" onClick={() => sample(0.2)}>
              {words.tryIn}
            </button>
          </>
        )}
      </div>
      {soundFails.value && <p class="soft">{words.unavailable}</p>}
      <p class="hint">{words.explain}</p>
    </section>
  );
}
