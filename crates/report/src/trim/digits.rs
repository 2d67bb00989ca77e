//! Numerals large enough to be read from the other end of a bench.

/// Rows of a numeral.
pub(super) const ROWS: usize = 5;

/// A letter, row by row; `#` is filled.
fn rows_of(letter: char) -> [&'static str; ROWS] {
    match letter {
        '0' => [" ### ", "#   #", "#   #", "#   #", " ### "],
        '1' => ["  #  ", " ##  ", "  #  ", "  #  ", " ### "],
        '2' => ["#### ", "    #", " ### ", "#    ", "#####"],
        '3' => ["#### ", "    #", " ### ", "    #", "#### "],
        '4' => ["#   #", "#   #", "#####", "    #", "    #"],
        '5' => ["#####", "#    ", "#### ", "    #", "#### "],
        '6' => [" ### ", "#    ", "#### ", "#   #", " ### "],
        '7' => ["#####", "    #", "   # ", "  #  ", "  #  "],
        '8' => [" ### ", "#   #", " ### ", "#   #", " ### "],
        '9' => [" ### ", "#   #", " ####", "    #", " ### "],
        '-' => ["     ", "     ", "#####", "     ", "     "],
        '+' => ["     ", "  #  ", "#####", "  #  ", "     "],
        '%' => ["##  #", "## # ", "  #  ", " # ##", "#  ##"],
        '.' => ["  ", "  ", "  ", "  ", "##"],
        '?' => [" ### ", "#   #", "   # ", "     ", "  #  "],
        _ => ["  ", "  ", "  ", "  ", "  "],
    }
}

/// `text` in large letters, filled with `fill`.
pub(super) fn large(text: &str, fill: char) -> [String; ROWS] {
    std::array::from_fn(|row| {
        let letters: Vec<&str> = text.chars().map(|letter| rows_of(letter)[row]).collect();
        letters.join("  ").replace('#', &fill.to_string())
    })
}
