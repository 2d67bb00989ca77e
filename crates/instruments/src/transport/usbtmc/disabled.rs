//! USBTMC device files where the system has none.

use std::time::Duration;

use crate::transport::{Received, Transport, Trouble};

/// A device file; never to be had here.
pub struct UsbTmc {
    path: String,
}

fn unavailable(path: &str) -> Trouble {
    let reason = "device files for USBTMC are made by Linux only; use the instrument's network port, or a folder that it writes to";
    Trouble::Unavailable { what: path.to_owned(), reason: reason.to_owned() }
}

impl UsbTmc {
    /// Refuses.
    ///
    /// # Errors
    /// Always.
    pub fn open(path: &str) -> Result<Self, Trouble> {
        Err(unavailable(path))
    }
}

impl Transport for UsbTmc {
    fn send(&mut self, _: &[u8], _: Duration) -> Result<(), Trouble> {
        Err(unavailable(&self.path))
    }

    fn receive(&mut self, _: Duration) -> Result<Received, Trouble> {
        Err(unavailable(&self.path))
    }

    fn clear(&mut self, _: Duration) -> Result<(), Trouble> {
        Err(unavailable(&self.path))
    }

    fn close(&mut self) {}

    fn name(&self) -> String {
        self.path.clone()
    }
}
