//! `flattop practise`: a simulated instrument on loopback sockets, with trimmers to turn.

mod args;
mod desk;
mod hislip;
pub(crate) mod running;
mod socket;

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;

use flattop_instruments::clock::{SharedClock, Steady};
use flattop_practice::disturbance::{Disturbances, Key};

pub(crate) use args::Args;
use desk::{Desk, Places};
use running::{Practice, Wish};
use socket::Manner;

use crate::output::complain;
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let wrong = |message: String| WrongUsage { message };
    for (option, address) in
        [("--listen", Some(args.listen)), ("--hislip", args.hislip), ("--http", args.http)]
    {
        if address.is_some_and(|address| !address.ip().is_loopback()) {
            let message = format!(
                "{option}: practice is for this machine only; name a loopback address, 127.0.0.1:PORT"
            );
            return Err(wrong(message));
        }
    }
    let disturbances = disturbances(args).map_err(wrong)?;
    Ok(practised(args, disturbances).unwrap_or_else(|message| {
        complain(&message);
        Ending::Unusable
    }))
}

/// As typed.
fn disturbances(args: &Args) -> Result<Disturbances, String> {
    let mut all = Disturbances::none();
    for (key, text) in [
        (Key::Noise, &args.noise),
        (Key::Hum, &args.hum),
        (Key::Ringing, &args.ringing),
        (Key::Droop, &args.droop),
        (Key::Hook, &args.hook),
        (Key::Bits, &args.bits),
    ] {
        all.set(key, text).map_err(|error| format!("--{error}"))?;
    }
    Ok(all)
}

fn practised(args: &Args, disturbances: Disturbances) -> Result<Ending, String> {
    let seed = match args.seed {
        Some(seed) => seed,
        None => fresh_seed()?,
    };
    let clock: SharedClock = Steady::shared();
    let wish = Wish {
        inputs: usize::from(args.inputs),
        disturbances,
        seed,
        is_blind: args.blind,
        start: args.start,
    };
    let practice = Practice::new(wish, &clock);
    let raw = bind(args.listen, "--listen")?;
    let hislip = args.hislip.map(|address| bind(address, "--hislip")).transpose()?;
    let http = args.http.map(|address| bind(address, "--http")).transpose()?;
    let place = |listener: &TcpListener| listener.local_addr().map_err(|error| error.to_string());
    let places = Places {
        raw: place(&raw)?,
        hislip: hislip.as_ref().map(place).transpose()?,
        http: http.as_ref().map(place).transpose()?,
        seed,
    };
    let manner = Manner { most_per_second: args.rate, faults: args.faults.map(|seed| (seed, args.one_in)) };
    socket::serve(raw, Arc::clone(&practice), manner);
    if let Some(listener) = hislip {
        hislip::serve(listener, Arc::clone(&practice), args.rate);
    }
    if let Some(listener) = http {
        control(listener, &practice)?;
    }
    Desk::new(args, &practice, &clock).sit(&places)
}

fn bind(address: SocketAddr, option: &str) -> Result<TcpListener, String> {
    TcpListener::bind(address).map_err(|error| {
        format!("{address} cannot be listened on: {error}; stop what uses it, or name another with {option} 127.0.0.1:0")
    })
}

/// A seed that nobody chose, short enough to be typed.
pub(crate) fn fresh_seed() -> Result<u64, String> {
    let mut bytes = [0; 4];
    getrandom::fill(&mut bytes)
        .map_err(|error| format!("no seed could be drawn: {error}; give one with --seed NUMBER"))?;
    Ok(u64::from(u32::from_le_bytes(bytes) % 1_000_000))
}

/// The HTTP interface in a thread of its own, for as long as the program runs.
fn control(listener: TcpListener, practice: &Arc<Practice>) -> Result<(), String> {
    let fail = |error: std::io::Error| format!("the HTTP interface cannot be started: {error}");
    listener.set_nonblocking(true).map_err(fail)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(fail)?;
    let practice = Arc::clone(practice);
    std::thread::spawn(move || {
        runtime.block_on(async {
            // It can only fail outside a runtime.
            if let Ok(listener) = tokio::net::TcpListener::from_std(listener) {
                crate::serve::control::serve(listener, practice, std::future::pending()).await;
            }
        });
    });
    Ok(())
}
