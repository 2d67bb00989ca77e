export function Logbook() { return <h1 tabIndex={-1}>Logbook</h1>; }
