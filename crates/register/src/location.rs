//! Where a bench lies when nobody says so: worked out from values that the program hands in.

use std::path::PathBuf;

/// Values of the environment, as far as they are set.
#[derive(Clone, Copy, Debug, Default)]
pub struct Surroundings<'a> {
    /// `XDG_DATA_HOME`.
    pub xdg_data_home: Option<&'a str>,
    /// `HOME`.
    pub home: Option<&'a str>,
    /// `APPDATA`.
    pub app_data: Option<&'a str>,
}

/// The default place: `$XDG_DATA_HOME/flattop/bench.sqlite`, else `%APPDATA%\flattop\bench.sqlite`, else
/// `$HOME/.local/share/flattop/bench.sqlite`; `None` when none of them is set.
///
/// A relative `XDG_DATA_HOME` is passed over, as the XDG Base Directory Specification asks.
pub fn default_location(surroundings: Surroundings<'_>) -> Option<PathBuf> {
    let set = |value: Option<&str>| value.filter(|v| !v.is_empty()).map(PathBuf::from);
    let folder = set(surroundings.xdg_data_home)
        .filter(|path| path.is_absolute())
        .or_else(|| set(surroundings.app_data))
        .or_else(|| set(surroundings.home).map(|home| home.join(".local").join("share")))?;
    Some(folder.join("flattop").join("bench.sqlite"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_that_is_set_counts() {
        let all = Surroundings { xdg_data_home: Some("/d"), home: Some("/h"), app_data: Some("/a") };
        let at = |s| default_location(s).map(|p| p.to_string_lossy().into_owned());
        assert_eq!(at(all).as_deref(), Some("/d/flattop/bench.sqlite"));
        assert_eq!(
            at(Surroundings { xdg_data_home: Some("relative"), ..all }).as_deref(),
            Some("/a/flattop/bench.sqlite")
        );
        let home = Surroundings { home: Some("/h"), ..Surroundings::default() };
        assert_eq!(at(home).as_deref(), Some("/h/.local/share/flattop/bench.sqlite"));
        assert_eq!(at(Surroundings { home: Some(""), ..home }), None);
    }
}
