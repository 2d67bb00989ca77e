//! Sign-in: a secret that the program made, kept as its Argon2id hash; a cookie that stands for having given it.

use std::collections::VecDeque;
use std::io::Write;
use std::net::IpAddr;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use argon2::password_hash::phc::PasswordHash;
use argon2::{Argon2, PasswordHasher, PasswordVerifier};
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use sha2::{Digest, Sha256};
use subtle::{Choice, ConstantTimeEq};
use utoipa::ToSchema;

use super::answer::{Answer, Problem, Typed, work};
use super::listen::Peer;
use super::state::Shared;

/// Name of the cookie.
const COOKIE: &str = "flattop";
/// How long a sign-in lasts.
const LASTS: Duration = Duration::from_secs(12 * 3600);
/// Sign-ins that are remembered.
const MOST_SIGNED_IN: usize = 64;
/// Tries of one address within [`WINDOW`].
const TRIES_OF_ONE: usize = 5;
/// Tries of all together within [`WINDOW`].
const TRIES_OF_ALL: usize = 40;
/// How long a try counts.
const WINDOW: Duration = Duration::from_secs(60);
/// Letters of a secret: none that look alike.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";

/// Asks for the secret.
pub(super) struct Gate {
    hash: String,
    inside: Mutex<Inside>,
}

#[derive(Default)]
struct Inside {
    /// Digests of the cookies that were given out, and when they end.
    signed_in: VecDeque<([u8; 32], Duration)>,
    tries: VecDeque<(IpAddr, Duration)>,
}

impl Gate {
    /// With the hash in a file that [`make`] wrote.
    pub(super) fn open(file: &Path) -> Result<Self, String> {
        let text = crate::values::read_text(file)?;
        let hash = text.trim().to_owned();
        match PasswordHash::new(&hash) {
            Ok(_) => Ok(Self { hash, inside: Mutex::default() }),
            Err(_) => Err(format!(
                "{}: holds no hash of a secret; make one with 'flattop serve --make-secret FILE'",
                file.display()
            )),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Counts a try; `Err` is how long to wait, s.
    fn may_try(&self, from: IpAddr, now: Duration) -> Result<(), u64> {
        let mut inside = self.lock();
        while inside.tries.front().is_some_and(|(_, at)| *at + WINDOW <= now) {
            inside.tries.pop_front();
        }
        let theirs = inside.tries.iter().filter(|(address, _)| *address == from);
        let blocked = match theirs.clone().count() >= TRIES_OF_ONE {
            true => theirs.map(|(_, at)| *at).next(),
            false if inside.tries.len() >= TRIES_OF_ALL => inside.tries.front().map(|(_, at)| *at),
            false => None,
        };
        match blocked {
            Some(oldest) => Err((oldest + WINDOW).saturating_sub(now).as_secs() + 1),
            None => {
                inside.tries.push_back((from, now));
                Ok(())
            }
        }
    }

    /// The compare is that of the hashes, which takes the same time whatever they are.
    fn is_right(&self, secret: &str) -> bool {
        PasswordHash::new(&self.hash)
            .is_ok_and(|hash| Argon2::default().verify_password(secret.trim().as_bytes(), &hash).is_ok())
    }

    /// A new cookie's value.
    fn admit(&self, now: Duration) -> Option<String> {
        let mut random = [0u8; 32];
        getrandom::fill(&mut random).ok()?;
        let token: String = random.iter().map(|byte| format!("{byte:02x}")).collect();
        let mut inside = self.lock();
        if inside.signed_in.len() == MOST_SIGNED_IN {
            inside.signed_in.pop_front();
        }
        inside.signed_in.push_back((digest(&token), now + LASTS));
        Some(token)
    }

    /// Whether a request carries a cookie that was given out.
    pub(super) fn knows(&self, headers: &HeaderMap, now: Duration) -> bool {
        let inside = self.lock();
        cookies(headers).any(|token| {
            let theirs = digest(token);
            let mut found = Choice::from(0);
            for (ours, end) in &inside.signed_in {
                found |= ours.ct_eq(&theirs) & Choice::from(u8::from(now < *end));
            }
            bool::from(found)
        })
    }

    fn forget(&self, headers: &HeaderMap) {
        let theirs: Vec<[u8; 32]> = cookies(headers).map(digest).collect();
        self.lock().signed_in.retain(|(ours, _)| !theirs.iter().any(|one| bool::from(one.ct_eq(ours))));
    }
}

fn digest(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

fn cookies(headers: &HeaderMap) -> impl Iterator<Item = &str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';')).filter_map(|pair| {
        let (name, value) = pair.split_once('=')?;
        (name.trim() == COOKIE).then_some(value.trim())
    })
}

/// Makes a secret, writes its hash into a new file that only its owner may read, and gives the secret.
pub(super) fn make(file: &Path) -> Result<String, String> {
    let name = file.display();
    let no_random = |error| format!("the system gives no random numbers: {error}");
    let mut random = [0u8; 30];
    getrandom::fill(&mut random).map_err(no_random)?;
    // 5 bits of each byte: 150 bits in six groups.
    let letters: Vec<char> = random.iter().map(|byte| LETTERS[usize::from(byte & 31)] as char).collect();
    let secret = letters.chunks(5).map(|group| group.iter().collect()).collect::<Vec<String>>().join("-");
    let mut salt = [0u8; 16];
    getrandom::fill(&mut salt).map_err(no_random)?;
    let hash = Argon2::default()
        .hash_password_with_salt(secret.as_bytes(), &salt)
        .map_err(|error| format!("the secret cannot be hashed: {error}"))?;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut target = options
        .open(file)
        .map_err(|error| format!("{name}: cannot be made: {error}; name a file that is not there yet"))?;
    writeln!(target, "{hash}").map_err(|error| format!("{name}: cannot be written: {error}"))?;
    Ok(secret)
}

/// The secret.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SignIn {
    secret: String,
}

/// Sign in with the secret of the server
#[utoipa::path(post, path = "/api/sign-in", tag = "about", request_body = SignIn,
    responses((status = 204, description = "signed in, with a cookie"), (status = 401, description = "wrong secret"), (status = 429, description = "too many tries")))]
pub(super) async fn sign_in(
    State(app): State<Shared>,
    peer: Peer,
    Typed(asked): Typed<SignIn>,
) -> Answer<Response> {
    if app.gate.is_none() {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let now = app.clock.now();
    if let Some(seconds) = app.gate.as_ref().and_then(|gate| gate.may_try(peer.remote.ip(), now).err()) {
        let message = format!("too many tries; wait {seconds} s");
        let problem = Problem::new(StatusCode::TOO_MANY_REQUESTS, "too-many-tries", message);
        return Err(problem.retry_after(seconds));
    }
    work(move || {
        let gate = app.gate.as_ref().filter(|gate| gate.is_right(&asked.secret)).ok_or_else(|| {
            let message = "this is not the secret; it was shown when 'flattop serve --make-secret' made it";
            Problem::new(StatusCode::UNAUTHORIZED, "wrong-secret", message)
        })?;
        let token = gate.admit(now).ok_or_else(Problem::internal)?;
        let cookie =
            format!("{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age={}", LASTS.as_secs());
        Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
    })
    .await
}

/// Sign out
#[utoipa::path(delete, path = "/api/sign-in", tag = "about", responses((status = 204, description = "signed out")))]
pub(super) async fn sign_out(State(app): State<Shared>, headers: HeaderMap) -> Response {
    if let Some(gate) = &app.gate {
        gate.forget(&headers);
    }
    let gone = format!("{COOKIE}=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
    (StatusCode::NO_CONTENT, [(header::SET_COOKIE, gone)]).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn made() -> (tempfile::TempDir, Gate, String) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("bench.secret");
        let secret = make(&file).unwrap();
        assert!(make(&file).is_err(), "nothing is overwritten");
        let gate = Gate::open(&file).unwrap();
        (folder, gate, secret)
    }

    #[test]
    fn a_secret_is_kept_as_its_hash_and_known_again() {
        let (folder, gate, secret) = made();
        let kept = crate::values::read_text(&folder.path().join("bench.secret")).unwrap();
        assert!(kept.starts_with("$argon2id$") && !kept.contains(&secret));
        assert_eq!(secret.len(), 35);
        assert!(gate.is_right(&secret) && !gate.is_right("") && !gate.is_right(&secret[1..]));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = folder.path().join("bench.secret").metadata().unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
    }

    #[test]
    fn a_cookie_counts_until_it_ends_or_is_taken_back() {
        let (_folder, gate, _) = made();
        let start = Duration::from_secs(5);
        let token = gate.admit(start).unwrap();
        let mut headers = HeaderMap::new();
        assert!(!gate.knows(&headers, start));
        headers.insert(header::COOKIE, HeaderValue::from_str(&format!("a=b; flattop={token}")).unwrap());
        assert!(gate.knows(&headers, start) && !gate.knows(&headers, start + LASTS));
        gate.forget(&headers);
        assert!(!gate.knows(&headers, start));
        headers.insert(header::COOKIE, HeaderValue::from_static("flattop="));
        assert!(!gate.knows(&headers, start));
    }

    #[test]
    fn tries_are_counted_by_address_and_together() {
        let (_folder, gate, _) = made();
        let one: IpAddr = [192, 0, 2, 1].into();
        let now = Duration::from_secs(100);
        for _ in 0..TRIES_OF_ONE {
            assert_eq!(gate.may_try(one, now), Ok(()));
        }
        assert_eq!(gate.may_try(one, now + Duration::from_secs(20)), Err(41));
        for n in 0..(TRIES_OF_ALL - TRIES_OF_ONE) {
            let address = IpAddr::from([198, 51, 100, n as u8]);
            assert_eq!(gate.may_try(address, now), Ok(()));
        }
        assert!(gate.may_try([203, 0, 113, 1].into(), now).is_err());
        assert_eq!(gate.may_try(one, now + WINDOW), Ok(()));
    }
}
