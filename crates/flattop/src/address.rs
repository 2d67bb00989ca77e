//! Where an instrument is, as typed, and the way there. No other address is ever contacted.

use std::time::Duration;

use flattop_instruments::Trouble;
use flattop_instruments::clock::SharedClock;
use flattop_instruments::transport::{Hislip, Tcp, Transport, UsbTmc};

/// Port of HiSLIP (IVI-6.1), for an address that names none.
const HISLIP_PORT: u16 = 4880;
/// Device of HiSLIP where none is named.
const HISLIP_DEVICE: &str = "hislip0";

/// The address of an instrument.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Address {
    /// `tcp://HOST:PORT`
    Tcp(String),
    /// `hislip://HOST[:PORT][/DEVICE]`
    Hislip(String, String),
    /// `usbtmc:/dev/usbtmc0`
    UsbTmc(String),
}

const FORMS: &str = "write tcp://192.0.2.7:5025, hislip://192.0.2.7 or usbtmc:/dev/usbtmc0";

/// An address as typed.
pub(crate) fn parse(text: &str) -> Result<Address, String> {
    if let Some(place) = text.strip_prefix("tcp://") {
        return match port_of(place) {
            Some(Ok(_)) => Ok(Address::Tcp(place.to_owned())),
            Some(Err(found)) => Err(format!("the port \"{found}\" is no number up to 65535")),
            None => {
                Err("a raw socket needs a port, as in tcp://192.0.2.7:5025; the instrument's manual names it"
                    .into())
            }
        };
    }
    if let Some(rest) = text.strip_prefix("hislip://") {
        let (place, device) = rest.split_once('/').unwrap_or((rest, HISLIP_DEVICE));
        if place.is_empty() || device.is_empty() {
            return Err(format!("no host or no device in it; {FORMS}"));
        }
        let place = match port_of(place) {
            Some(Ok(_)) => place.to_owned(),
            Some(Err(found)) => return Err(format!("the port \"{found}\" is no number up to 65535")),
            None => format!("{place}:{HISLIP_PORT}"),
        };
        return Ok(Address::Hislip(place, device.to_owned()));
    }
    match text.strip_prefix("usbtmc:") {
        Some(path) if !path.is_empty() => Ok(Address::UsbTmc(path.to_owned())),
        _ => Err(format!("no way to an instrument is called so; {FORMS}")),
    }
}

/// The port of `host:port`; `None` where there is none, the text of one that is no number.
fn port_of(place: &str) -> Option<Result<u16, &str>> {
    let (host, port) = place.rsplit_once(':')?;
    // The colons of an address in brackets are not before a port.
    if port.contains(']') || host.is_empty() {
        return None;
    }
    Some(port.parse().map_err(|_| port))
}

impl Address {
    /// Connects.
    pub(crate) fn connect(
        &self,
        clock: &SharedClock,
        time_limit: Duration,
    ) -> Result<Box<dyn Transport>, Trouble> {
        Ok(match self {
            Self::Tcp(place) => Box::new(Tcp::connect(place, clock.clone(), time_limit)?),
            Self::Hislip(place, device) => {
                Box::new(Hislip::connect(place, device, clock.clone(), time_limit)?)
            }
            Self::UsbTmc(path) => Box::new(UsbTmc::open(path)?),
        })
    }

    /// For messages.
    pub(crate) fn name(&self) -> String {
        match self {
            Self::Tcp(place) => format!("tcp://{place}"),
            Self::Hislip(place, device) => format!("hislip://{place}/{device}"),
            Self::UsbTmc(path) => format!("usbtmc:{path}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read_or_refused_with_an_example() {
        let table = [
            ("tcp://192.0.2.7:5025", Ok(Address::Tcp("192.0.2.7:5025".into()))),
            ("tcp://[2001:db8::7]:5025", Ok(Address::Tcp("[2001:db8::7]:5025".into()))),
            ("hislip://192.0.2.7", Ok(Address::Hislip("192.0.2.7:4880".into(), "hislip0".into()))),
            ("hislip://[2001:db8::7]/x", Ok(Address::Hislip("[2001:db8::7]:4880".into(), "x".into()))),
            ("usbtmc:/dev/usbtmc1", Ok(Address::UsbTmc("/dev/usbtmc1".into()))),
        ];
        for (typed, expected) in table {
            assert_eq!(parse(typed), expected);
        }
        for (typed, part) in [
            ("tcp://192.0.2.7", "needs a port"),
            ("tcp://192.0.2.7:x", "\"x\""),
            ("192.0.2.7:5025", "write tcp://"),
            ("usbtmc:", "write tcp://"),
            ("hislip://", "no host"),
        ] {
            let message = parse(typed).unwrap_err();
            assert!(message.contains(part), "{typed}: {message}");
        }
    }
}
