// The page: navigation, the open view, what is dropped on it, and what it says aloud.
import { render } from 'preact';
import { useState } from 'preact/hooks';
import { api, problemOf, signInNeeded, type Problem } from './api';
import { follow, go, href, PAGES, route, type Page } from './router';
import { about, loadAbout, loadBench, trouble } from './state';
import './style.css';
import { text } from './text';
import { dragging, watchDrops } from './ui/drop';
import { spoken } from './ui/live';
import { Field, onSubmit, Problems } from './ui/parts';
import { Bench } from './views/bench/Bench';
import { Compatibility } from './views/Compatibility';
import { Compensate, takeCaptures } from './views/compensate/Compensate';
import { Correct } from './views/Correct';
import { Logbook } from './views/logbook/Logbook';
import { Plan } from './views/plan/Plan';
import { Start } from './views/Start';
import { Theory } from './views/Theory';

function take(files: File[]): void {
  go('compensate');
  void takeCaptures(files);
}

function View({ page }: { page: Page }) {
  switch (page) {
    case 'compensate':
      return <Compensate />;
    case 'bench':
      return <Bench />;
    case 'compatibility':
      return <Compatibility />;
    case 'plan':
      return <Plan />;
    case 'correct':
      return <Correct />;
    case 'logbook':
      return <Logbook />;
    case 'theory':
      return <Theory />;
    default:
      return <Start take={take} />;
  }
}

function SignIn() {
  const [secret, setSecret] = useState('');
  const [problem, setProblem] = useState<Problem | null>(null);
  const enter = async () => {
    setProblem(null);
    try {
      await api.send('POST', '/api/sign-in', { secret });
      setSecret('');
      signInNeeded.value = false;
      await Promise.all([loadAbout(), loadBench()]);
    } catch (cause) {
      setProblem(problemOf(cause));
    }
  };
  return (
    <>
      <h1 tabIndex={-1}>{text.signIn.title}</h1>
      <p class="lead">{text.signIn.lead}</p>
      <form class="panel" onSubmit={onSubmit(() => void enter())}>
        <Field label={text.signIn.secret} type="password" value={secret} change={setSecret} />
        <Problems problem={problem} />
        <button type="submit" class="primary">
          {text.signIn.go}
        </button>
      </form>
    </>
  );
}

function App() {
  const { page } = route.value;
  const known = about.value;
  const closed = signInNeeded.value || (known !== null && known.secret_needed && !known.signed_in);
  return (
    <>
      <a
        class="skip"
        href="#content"
        onClick={(event) => {
          event.preventDefault();
          document.getElementById('content')?.focus();
        }}
      >
        {text.skip}
      </a>
      <header class="top">
        <a class="name" href={href('start')}>
          <svg viewBox="0 0 32 24" width="32" height="24" aria-hidden="true">
            <path d="M2 20h7V5h14v15h7" fill="none" stroke="currentColor" stroke-width="3" stroke-linejoin="round" />
          </svg>
          {text.name}
        </a>
        <nav aria-label={text.navigation}>
          <ul>
            {PAGES.map((one) => (
              <li key={one}>
                <a href={href(one)} aria-current={one === page ? 'page' : undefined}>
                  {text.nav[one]}
                </a>
              </li>
            ))}
          </ul>
        </nav>
      </header>
      <main id="content" tabIndex={-1}>
        {known?.demo && <p class="banner">{text.demoBanner}</p>}
        {known && !known.writable && !closed && <p class="banner">{text.readOnly}</p>}
        <Problems problem={trouble.value} dismiss={() => (trouble.value = null)} />
        {closed ? <SignIn /> : <View key={page} page={page} />}
      </main>
      <footer>
        <p>
          {text.name} {known?.flattop_version ?? ''}. {text.tagline}.
        </p>
        <p>{text.caution.points[4]}</p>
      </footer>
      <div class="hidden" aria-live="polite" role="status">
        {spoken.value}
      </div>
      {dragging.value && (
        <div class="overlay" aria-hidden="true">
          <p>{text.dropHere}</p>
        </div>
      )}
    </>
  );
}

function title(page: Page): void {
  document.title = page === 'start' ? text.name : `${text.nav[page]} · ${text.name}`;
}

follow((_, to) => {
  title(to);
  requestAnimationFrame(() => {
    const heading = document.querySelector<HTMLElement>('main h1');
    heading?.focus({ preventScroll: true });
    scrollTo(0, 0);
  });
});
watchDrops(take);
title(route.value.page);
render(<App />, document.getElementById('app')!);
void loadAbout().then(() => {
  if (about.value?.signed_in ?? true) void loadBench();
});
