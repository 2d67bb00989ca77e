//! Real sockets on this machine: raw TCP and HiSLIP, with an instrument in a thread.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::{Sender, channel};
use std::time::Duration;

use flattop_instruments::Trouble;
use flattop_instruments::clock::Steady;
use flattop_instruments::dialogue::{Dialogue, Instrument};
use flattop_instruments::transport::{Hislip, Received, Tcp, Transport};
use flattop_scpi::hislip::{Channel, Request, Server};

use crate::bench::{Digitizer, capture_of};

const LONG: Duration = Duration::from_secs(30);

fn listener() -> (TcpListener, String) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    (listener, address)
}

/// The dialogue with a short limit, since a test waits for it.
fn dialogue(answer_time: &str) -> Dialogue {
    let text = flattop_instruments::dialogue::SCPI_1999.replace("\"5 s\"", &format!("\"{answer_time}\""));
    Dialogue::parse("x", &text).unwrap()
}

/// Answers lines; what it is asked is told. It hangs up on the first `FETCh?`, and says nothing to the second.
fn serve(listener: TcpListener, asked: Sender<String>) {
    std::thread::spawn(move || {
        let mut digitizer = Digitizer::new();
        let mut fetches = 0;
        'connections: for stream in listener.incoming().take(5) {
            let mut stream = stream.unwrap();
            let mut text = Vec::new();
            let mut piece = [0; 1000];
            while let Ok(count) = stream.read(&mut piece) {
                if count == 0 {
                    continue 'connections;
                }
                text.extend_from_slice(&piece[..count]);
                while let Some(end) = text.iter().position(|b| *b == b'\n') {
                    let line: Vec<u8> = text.drain(..=end).collect();
                    let _ = asked.send(String::from_utf8_lossy(&line).trim().to_owned());
                    if line == b"FETCh?\n" {
                        fetches += 1;
                        if fetches == 1 {
                            continue 'connections;
                        }
                        if fetches == 2 {
                            continue;
                        }
                    }
                    // In two pieces.
                    let answer = digitizer.answer(&line);
                    let (first, second) = answer.split_at(answer.len() / 2);
                    stream.write_all(first).unwrap();
                    stream.write_all(second).unwrap();
                }
            }
        }
    });
}

#[test]
fn raw_tcp_survives_a_hang_up_and_silence() {
    let (listener, address) = listener();
    let (sender, asked) = channel();
    serve(listener, sender);
    let clock = Steady::shared();
    let tcp = Tcp::connect(&address, clock.clone(), LONG).unwrap();
    let mut instrument = Instrument::new(dialogue("500 ms"), tcp, clock);
    assert!(matches!(instrument.capture(), Err(Trouble::Closed { .. })));
    assert!(matches!(instrument.capture(), Err(Trouble::TimedOut { received: 0, .. })));
    let acquired = instrument.capture().unwrap();
    assert_eq!(capture_of(&acquired.volts), Some(3));
    assert_eq!(instrument.identity(), "HARROW LANE LIFT WORKS,BENCH A SCOPE,0007,1.0");
    let asked: Vec<String> = asked.try_iter().collect();
    let count = |question: &str| asked.iter().filter(|line| line.as_str() == question).count();
    assert_eq!((count("*IDN?"), count("ABORt"), count("FETCh?")), (3, 2, 3));
}

#[test]
fn nobody_there_is_refused() {
    let (listener, address) = listener();
    drop(listener);
    let refused = Tcp::connect(&address, Steady::shared(), LONG).err().unwrap();
    assert!(matches!(&refused, Trouble::Refused { address: a, .. } if *a == address), "{refused}");
    let refused = Hislip::connect(&address, "hislip0", Steady::shared(), LONG).err().unwrap();
    assert!(matches!(refused, Trouble::Refused { .. }), "{refused}");
    assert!(matches!(Tcp::connect("no address", Steady::shared(), LONG), Err(Trouble::Refused { .. })));
}

#[test]
fn something_else_on_the_port_is_named() {
    let (listener, address) = listener();
    std::thread::spawn(move || {
        for stream in listener.incoming().take(1) {
            stream.unwrap().write_all(b"SSH-2.0-lift").unwrap();
        }
    });
    let trouble = Hislip::connect(&address, "hislip0", Steady::shared(), LONG).err().unwrap();
    assert!(matches!(trouble, Trouble::Nonsense { .. } | Trouble::Closed { .. }), "{trouble}");
}

/// A HiSLIP server for one session: it carries bytes between both connections and the state machine. A message "hang" is
/// never answered.
fn serve_hislip(listener: TcpListener) {
    std::thread::spawn(move || {
        let mut server = Server::new(3, 1 << 16);
        let mut digitizer = Digitizer::new();
        let (mut synchronous, _) = listener.accept().unwrap();
        synchronous.set_read_timeout(Some(Duration::from_millis(5))).unwrap();
        let mut asynchronous: Option<TcpStream> = None;
        listener.set_nonblocking(true).unwrap();
        let mut piece = [0; 4096];
        loop {
            if asynchronous.is_none()
                && let Ok((stream, _)) = listener.accept()
            {
                stream.set_nonblocking(false).unwrap();
                stream.set_read_timeout(Some(Duration::from_millis(5))).unwrap();
                asynchronous = Some(stream);
            }
            match synchronous.read(&mut piece) {
                Ok(0) => return,
                Ok(count) => server.feed(Channel::Synchronous, &piece[..count]).unwrap(),
                Err(_) => {}
            }
            if let Some(stream) = &mut asynchronous
                && let Ok(count) = stream.read(&mut piece)
            {
                server.feed(Channel::Asynchronous, &piece[..count]).unwrap();
            }
            while let Some(request) = server.request() {
                if let Request::Message(message) = request
                    && message != b"hang"
                {
                    let answer = digitizer.answer(&message);
                    if !answer.is_empty() {
                        server.answer(&answer);
                    }
                }
            }
            synchronous.write_all(&server.output(Channel::Synchronous)).unwrap();
            if let Some(stream) = &mut asynchronous {
                stream.write_all(&server.output(Channel::Asynchronous)).unwrap();
            }
        }
    });
}

#[test]
fn hislip_captures_and_clears() {
    let (listener, address) = listener();
    serve_hislip(listener);
    let clock = Steady::shared();
    let mut hislip = Hislip::connect(&address, "hislip0", clock.clone(), LONG).unwrap();
    assert_eq!(hislip.name(), format!("{address} (hislip0)"));
    hislip.send(b"hang", LONG).unwrap();
    assert_eq!(hislip.receive(Duration::from_millis(30)), Ok(Received::Nothing));
    hislip.clear(LONG).unwrap();
    let mut instrument = Instrument::new(dialogue("20 s"), hislip, clock);
    assert_eq!(capture_of(&instrument.capture().unwrap().volts), Some(1));
    assert_eq!(capture_of(&instrument.capture().unwrap().volts), Some(2));
}
