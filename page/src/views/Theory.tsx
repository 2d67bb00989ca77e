export function Theory() { return <h1 tabIndex={-1}>Theory</h1>; }
