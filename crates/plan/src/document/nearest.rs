//! The known word that a misspelt one probably stands for.

/// The nearest of `known` to `word`, if it is near enough to be meant.
pub fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let word: Vec<char> = word.chars().take(64).flat_map(char::to_lowercase).collect();
    let allowed = (word.len() + 2) / 4;
    known
        .into_iter()
        .map(|candidate| (distance(&word, &candidate.to_lowercase().chars().collect::<Vec<_>>()), candidate))
        .filter(|(distance, _)| *distance <= allowed)
        .min()
        .map(|(_, candidate)| candidate)
}

/// Least number of letters to put in, take out, change, or swap with the next one (optimal string alignment).
fn distance(a: &[char], b: &[char]) -> usize {
    let width = b.len() + 1;
    let mut d = vec![0; (a.len() + 1) * width];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            d[i * width + j] = if i == 0 || j == 0 {
                i + j
            } else {
                let change = usize::from(a[i - 1] != b[j - 1]);
                let mut least = (d[(i - 1) * width + j] + 1)
                    .min(d[i * width + j - 1] + 1)
                    .min(d[(i - 1) * width + j - 1] + change);
                if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                    least = least.min(d[(i - 2) * width + j - 2] + 1);
                }
                least
            };
        }
    }
    d[a.len() * width + b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_words() {
        let known = ["resistance", "capacitance", "rise", "fall"];
        assert_eq!(nearest("resistence", known), Some("resistance"));
        assert_eq!(nearest("Capacitance", known), Some("capacitance"));
        assert_eq!(nearest("rsie", known), Some("rise"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest("", known), None);
        assert_eq!(nearest("V", ["I", "II"]), None);
        assert_eq!(distance(&['a', 'b', 'c'], &['a', 'c', 'b', 'd']), 2);
    }
}
