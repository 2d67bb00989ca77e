//! Tests of HiSLIP: known bytes, both sides against each other, and arbitrary bytes.

use super::frame::MessageType as M;
use super::*;
use proptest::prelude::*;

const CHANNELS: [Channel; 2] = [Channel::Synchronous, Channel::Asynchronous];

/// Carries bytes to and fro, in pieces, until both are silent.
fn settle(client: &mut Client, server: &mut Server, piece: usize) {
    loop {
        let mut moved = false;
        for channel in CHANNELS {
            // The second connection is opened once the session has a number.
            for bytes in client.output(channel).chunks(piece) {
                server.feed(channel, bytes).unwrap();
                moved = true;
            }
            for bytes in server.output(channel).chunks(piece) {
                client.feed(channel, bytes).unwrap();
                moved = true;
            }
        }
        if !moved {
            return;
        }
    }
}

fn pair(client_limit: usize, server_limit: usize, piece: usize) -> (Client, Server) {
    let (mut client, mut server) = (Client::new("hislip0", client_limit), Server::new(7, server_limit));
    settle(&mut client, &mut server, piece);
    assert_eq!(client.event(), Some(Event::Ready));
    assert_eq!(client.session(), Some(7));
    (client, server)
}

fn messages(server: &mut Server) -> Vec<Request> {
    std::iter::from_fn(|| server.request()).collect()
}

/// From memory of IVI-6.1, 2.4 and 6.1: prologue, type, control code, version and vendor, length, sub-address.
#[test]
fn the_first_message() {
    let mut client = Client::new("hislip0", 1000);
    let expected = b"HS\x00\x00\x01\x00XX\x00\x00\x00\x00\x00\x00\x00\x07hislip0";
    assert_eq!(client.output(Channel::Synchronous), expected);
    assert_eq!(client.output(Channel::Asynchronous), b"");
    let mut server = Server::new(0x1234, 1000);
    server.feed(Channel::Synchronous, expected).unwrap();
    let answer = server.output(Channel::Synchronous);
    assert_eq!(answer, b"HS\x01\x00\x01\x00\x12\x34\x00\x00\x00\x00\x00\x00\x00\x00");
    client.feed(Channel::Synchronous, &answer).unwrap();
    let next = client.output(Channel::Asynchronous);
    assert_eq!(next, b"HS\x11\x00\x00\x00\x12\x34\x00\x00\x00\x00\x00\x00\x00\x00");
}

#[test]
fn the_first_question_has_its_number() {
    let (mut client, _) = pair(1000, 1000, 64);
    client.send(b"*IDN?\n");
    let sent = client.output(Channel::Synchronous);
    assert_eq!(sent, b"HS\x07\x00\xff\xff\xff\x00\x00\x00\x00\x00\x00\x00\x00\x06*IDN?\n");
}

#[test]
fn late_answers_are_told_apart_by_their_number() {
    let (mut client, mut server) = pair(1000, 1000, 64);
    client.send(b"first?\n");
    server.feed(Channel::Synchronous, &client.output(Channel::Synchronous)).unwrap();
    server.answer(b"one\n");
    let late = server.output(Channel::Synchronous);
    client.send(b"second?\n");
    server.feed(Channel::Synchronous, &client.output(Channel::Synchronous)).unwrap();
    server.answer(b"two\n");
    client.feed(Channel::Synchronous, &late).unwrap();
    settle(&mut client, &mut server, 64);
    assert_eq!(client.event(), Some(Event::Late { bytes: 4, excerpt: "\"one\\n\"".into() }));
    assert_eq!(client.event(), Some(Event::DataEnd(b"two\n".to_vec())));
    assert_eq!(client.event(), None);
    // The end of the answer was handed on: the next message says so.
    client.send(b"third?\n");
    assert_eq!(client.output(Channel::Synchronous)[3], 1);
}

#[test]
fn a_device_clear_drops_what_is_under_way() {
    let (mut client, mut server) = pair(1000, 1000, 64);
    client.send(b"first?\n");
    server.feed(Channel::Synchronous, &client.output(Channel::Synchronous)).unwrap();
    server.answer(b"one\n");
    client.clear();
    assert!(!client.is_ready());
    settle(&mut client, &mut server, 64);
    assert_eq!(client.event(), Some(Event::Cleared));
    assert_eq!(messages(&mut server), [Request::Clear]);
    client.send(b"second?\n");
    settle(&mut client, &mut server, 64);
    assert_eq!(messages(&mut server), [Request::Message(b"second?\n".to_vec())]);
    server.answer(b"two\n");
    settle(&mut client, &mut server, 64);
    assert_eq!(client.event(), Some(Event::DataEnd(b"two\n".to_vec())));
}

#[test]
fn faults_are_named() {
    let client = Client::new("hislip0", 100);
    let feed = |bytes: &[u8]| client.clone().feed(Channel::Synchronous, bytes).unwrap_err().to_string();
    assert_eq!(
        feed(b"HTTP/1.1 400 Bad"),
        "expected a HiSLIP message, which begins with \"HS\", found \"HTTP/1.1 400 Bad\""
    );
    assert_eq!(
        feed(&Frame::new(M::FatalError, 4, 0, b"").bytes()),
        "the other side ends the connection, code 4: too many clients"
    );
    assert_eq!(
        feed(&Frame::new(M::Error, 9, 0, b"busy").bytes()),
        "the other side did not take a message, code 9: \"busy\""
    );
    assert_eq!(
        feed(&Frame::new(M::DataEnd, 0, 0, b"x").bytes()),
        "expected the answer to Initialize, found DataEnd"
    );
    let mut huge = Frame::new(M::DataEnd, 0, 0, b"").bytes();
    huge[8] = 0x7f;
    assert_eq!(feed(&huge), "a message announces 9151314442816847872 bytes, and at most 100 are taken");
    let (mut client, mut server) = pair(100, 20, 64);
    server.answer(&[b'x'; 10]);
    client.send(&[b'x'; 21]);
    server.feed(Channel::Synchronous, &client.output(Channel::Synchronous)).unwrap();
    let refused = client.feed(Channel::Synchronous, &server.output(Channel::Synchronous)[26..]);
    assert_eq!(
        refused.unwrap_err().to_string(),
        "the other side did not take a message, code 4: message too large"
    );
}

proptest! {
    #[test]
    fn prop_messages_cross_at_any_split(
        question in prop::collection::vec(any::<u8>(), 0..200),
        answer in prop::collection::vec(any::<u8>(), 0..200),
        limits in (30usize..90, 200usize..300),
        piece in 1usize..60,
    ) {
        let (mut client, mut server) = pair(limits.0, limits.1, piece);
        for _ in 0..2 {
            client.send(&question);
            settle(&mut client, &mut server, piece);
            prop_assert_eq!(messages(&mut server), [Request::Message(question.clone())]);
            server.answer(&answer);
            settle(&mut client, &mut server, piece);
            let mut back = Vec::new();
            loop {
                match client.event() {
                    Some(Event::Data(part)) => back.extend(part),
                    Some(Event::DataEnd(part)) => { back.extend(part); break }
                    other => prop_assert!(false, "{other:?}"),
                }
            }
            prop_assert_eq!(&back, &answer);
        }
    }

    #[test]
    fn prop_types_come_back(number: u8) {
        prop_assert_eq!(M::from_number(number).number(), number);
    }

    #[test]
    fn prop_any_bytes_end_without_harm(pieces: Vec<(bool, Vec<u8>)>, ready: bool) {
        let mut client = if ready { pair(64, 64, 16).0 } else { Client::new("", 64) };
        let mut server = Server::new(1, 64);
        for (prologue, piece) in pieces {
            let piece = if prologue { [&b"HS"[..], &piece].concat() } else { piece };
            for channel in CHANNELS {
                let _ = client.feed(channel, &piece);
                let _ = server.feed(channel, &piece);
            }
        }
    }
}
