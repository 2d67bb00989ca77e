export function Correct() { return <h1 tabIndex={-1}>Correct</h1>; }
