//! USBTMC device files: where the system has them, and a refusal where it has none.

#[cfg(not(target_os = "linux"))]
mod disabled;
#[cfg(target_os = "linux")]
mod enabled;

#[cfg(not(target_os = "linux"))]
pub use disabled::UsbTmc;
#[cfg(target_os = "linux")]
pub use enabled::UsbTmc;
