//! `flattop serve`: the page for the bench and the HTTP interface that it uses.
//!
//! What is computed and how it is written in JSON is the business of the other commands: the routes read what was typed with
//! the same readers, and answer with the same objects.

mod about;
mod answer;
mod args;
mod assess;
mod bench;
pub(crate) mod control;
mod correct;
mod drawing;
mod guard;
mod listen;
mod live;
mod logbook;
mod openapi;
mod page;
mod plan;
mod secret;
mod state;
mod stored;
mod typed;

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::middleware::from_fn_with_state;
use flattop_instruments::clock::Steady;
use flattop_instruments::dialogue::Dialogue;
use tokio::net::TcpListener;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(crate) use args::Args;

use crate::output::{complain, print, remark};
use crate::status::{Ending, WrongUsage};
use crate::workbench::BenchFile;
use guard::Hosts;
use secret::Gate;
use state::{App, Known, Shared, WatchRoot};
use stored::Store;

/// How often what has been forgotten is looked for.
const SWEEP: Duration = Duration::from_secs(60);

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    if let Some(file) = &args.make_secret {
        return Ok(made(file));
    }
    if !args.listen.ip().is_loopback() && args.secret_file.is_none() {
        let message = format!(
            "--listen {} lets other machines in, which needs a secret; make one with 'flattop serve --make-secret FILE' and give \
             it with --secret-file FILE, or listen on 127.0.0.1",
            args.listen
        );
        return Err(WrongUsage { message });
    }
    let names: Vec<&str> = args.watch_root.iter().map(|root| root.name.as_str()).collect();
    if let Some(name) = twice(&names) {
        let message = format!("two folders are named \"{name}\"; name them with --watch-root NAME=FOLDER");
        return Err(WrongUsage { message });
    }
    let names: Vec<&str> = args.instrument.iter().map(|one| one.name.as_str()).collect();
    if let Some(name) = twice(&names) {
        let message = format!("two instruments are named \"{name}\"; give each its own name");
        return Err(WrongUsage { message });
    }
    Ok(served(args).unwrap_or_else(|message| {
        complain(&message);
        Ending::Unusable
    }))
}

fn twice<'a>(names: &[&'a str]) -> Option<&'a str> {
    names.iter().enumerate().find(|(k, name)| names[..*k].contains(name)).map(|(_, name)| *name)
}

fn made(file: &Path) -> Ending {
    match secret::make(file) {
        Ok(secret) => {
            let words = format!(
                "The secret is\n  {secret}\nIt is shown this once; only its hash is in {0}.\n  flattop serve --listen ADDRESS:PORT --secret-file {0}\n",
                file.display()
            );
            print(words.as_bytes())
        }
        Err(message) => {
            complain(&message);
            Ending::Unusable
        }
    }
}

fn served(args: &Args) -> Result<Ending, String> {
    let store = Store::new()?;
    let bench = if args.demo {
        let file = store.own_path("demo.sqlite");
        crate::bench::make_demo(&file)?;
        BenchFile { bench: Some(file) }
    } else {
        let path = args.bench.path()?;
        if path.exists() {
            // A bench that cannot be used is told now, not in the browser.
            args.bench.read()?;
        }
        args.bench.clone()
    };
    let gate = args.secret_file.as_deref().map(Gate::open).transpose()?;
    let roots = args.watch_root.iter().map(root).collect::<Result<Vec<_>, String>>()?;
    let instruments = args.instrument.iter().map(instrument).collect::<Result<Vec<_>, String>>()?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| format!("the server cannot be started: {error}"))?;
    let ending = runtime.block_on(async {
        let listener = TcpListener::bind(args.listen).await.map_err(|error| {
            format!("{} cannot be listened on: {error}; stop what uses it, or name another with --listen 127.0.0.1:0", args.listen)
        })?;
        let bound = listener.local_addr().map_err(|error| error.to_string())?;
        let (router, openapi) = routes().split_for_parts();
        let app = Arc::new(App {
            bench,
            is_demo: args.demo,
            hosts: Hosts::of(bound, &args.host_name),
            gate,
            roots,
            instruments,
            store,
            sessions: live::Sessions::default(),
            clock: Steady::shared(),
            openapi: openapi::named(openapi),
        });
        let router = finished(router, &app);
        told(args, bound);
        let sweeper = tokio::spawn(swept(Arc::clone(&app)));
        listen::serve(listener, router, interrupted(Arc::clone(&app))).await;
        sweeper.abort();
        Ok(Ending::Good)
    });
    // Threads that wait for an instrument do not keep the program.
    runtime.shutdown_timeout(Duration::from_secs(1));
    ending
}

/// Every route of the interface.
fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::with_openapi(openapi::Document::openapi())
        .routes(routes!(about::about))
        .routes(routes!(openapi::document))
        .routes(routes!(secret::sign_in, secret::sign_out))
        .routes(routes!(assess::assess))
        .routes(routes!(assess::by_eye))
        .routes(routes!(assess::log))
        .routes(routes!(stored::store))
        .routes(routes!(stored::show, stored::forget))
        .routes(routes!(stored::window))
        .routes(routes!(stored::download))
        .routes(routes!(live::start, live::list))
        .routes(routes!(live::show, live::end))
        .routes(routes!(live::events))
        .routes(routes!(live::drop_in))
        .routes(routes!(live::window))
        .routes(routes!(live::log))
        .routes(routes!(live::practice, live::practise))
        .routes(routes!(live::look))
        .routes(routes!(bench::all))
        .routes(routes!(bench::fields))
        .routes(routes!(bench::check))
        .routes(routes!(bench::reinstate))
        .routes(routes!(bench::export))
        .routes(routes!(bench::export_list))
        .routes(routes!(bench::import))
        .routes(routes!(bench::add_oscilloscope))
        .routes(routes!(bench::show_oscilloscope, bench::edit_oscilloscope, bench::remove_oscilloscope))
        .routes(routes!(bench::add_input))
        .routes(routes!(bench::show_input, bench::edit_input, bench::remove_input))
        .routes(routes!(bench::add_probe))
        .routes(routes!(bench::show_probe, bench::edit_probe, bench::remove_probe))
        .routes(routes!(bench::add_ground))
        .routes(routes!(bench::show_ground, bench::edit_ground, bench::remove_ground))
        .routes(routes!(bench::pair))
        .routes(routes!(bench::show_pairing, bench::edit_pairing))
        .routes(routes!(bench::void))
        .routes(routes!(bench::adjusted))
        .routes(routes!(bench::forecast))
        .routes(routes!(bench::measure))
        .routes(routes!(plan::compatibility))
        .routes(routes!(plan::reach_of))
        .routes(routes!(plan::keys))
        .routes(routes!(plan::predict_of))
        .routes(routes!(plan::choose_of))
        .routes(routes!(plan::budget_of))
        .routes(routes!(correct::pair_of))
        .routes(routes!(correct::correct_of))
        .routes(routes!(correct::characterise_of))
        .routes(routes!(logbook::list))
        .routes(routes!(logbook::csv))
        .routes(routes!(logbook::due))
        .routes(routes!(logbook::verify))
        .routes(routes!(logbook::note))
        .routes(routes!(logbook::show))
        .routes(routes!(logbook::plot))
        .routes(routes!(logbook::capture))
        .routes(routes!(logbook::recompute))
        .routes(routes!(logbook::correct))
        .routes(routes!(logbook::trends))
        .routes(routes!(logbook::record))
}

fn finished(router: Router<Shared>, app: &Shared) -> Router {
    router
        .method_not_allowed_fallback(page::wrong_method)
        .fallback(page::serve)
        .layer(from_fn_with_state(Arc::clone(app), guard::guard))
        .with_state(Arc::clone(app))
}

fn root(root: &args::Root) -> Result<WatchRoot, String> {
    let folder = root.folder.canonicalize().ok().filter(|folder| folder.is_dir()).ok_or_else(|| {
        format!(
            "{}: is no folder that can be looked into; make it first, or name another with --watch-root",
            root.folder.display()
        )
    })?;
    Ok(WatchRoot { name: root.name.clone(), folder })
}

fn instrument(instrument: &args::Instrument) -> Result<Known, String> {
    let dialogue = match &instrument.dialogue {
        Some(file) => crate::dialogue::load(file)?,
        None => Dialogue::scpi_1999().map_err(|error| error.to_string())?,
    };
    Ok(Known { name: instrument.name.clone(), address: instrument.address.clone(), dialogue })
}

/// Where the page is.
fn told(args: &Args, bound: SocketAddr) {
    let host = match bound.ip() {
        ip if ip.is_loopback() || ip.is_unspecified() => "localhost".to_owned(),
        std::net::IpAddr::V6(ip) => format!("[{ip}]"),
        ip @ std::net::IpAddr::V4(_) => ip.to_string(),
    };
    let url = format!("http://{host}:{}/", bound.port());
    print(format!("{url}\n").as_bytes());
    if !bound.ip().is_loopback() {
        remark("other machines can reach it, with the secret; what goes over the network is not encrypted");
    }
    remark("Ctrl-C ends it");
    if args.open {
        open(&url);
    }
}

/// Starts a browser; that there is none is no failure.
fn open(url: &str) {
    let (program, arguments): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        ("xdg-open", &[])
    };
    let started = std::process::Command::new(program)
        .args(arguments)
        .arg(url)
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn();
    match started {
        // Its end is waited for, so that it is not left behind as a zombie.
        Ok(mut child) => drop(std::thread::spawn(move || child.wait())),
        Err(error) => {
            remark(&format!("no browser could be opened ({program}: {error}); open {url} yourself"))
        }
    }
}

async fn swept(app: Shared) {
    let mut ticks = tokio::time::interval(SWEEP);
    loop {
        ticks.tick().await;
        let app = Arc::clone(&app);
        let _ = tokio::task::spawn_blocking(move || {
            let now = app.clock.now();
            app.store.sweep(now);
            app.sessions.sweep(now);
        })
        .await;
    }
}

/// Waits for the signal to end; sessions are told.
async fn interrupted(app: Shared) {
    #[cfg(unix)]
    {
        let terminate = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate());
        match terminate {
            Ok(mut terminate) => tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = terminate.recv() => {}
            },
            Err(_) => drop(tokio::signal::ctrl_c().await),
        }
    }
    #[cfg(not(unix))]
    let _ = tokio::signal::ctrl_c().await;
    app.sessions.end();
}
