//! From the bytes of a Touchstone file to its network data.

use flattop_core::finding::Finding;
use num_complex::Complex64;

use super::header::{Fault, Options, number, options, quoted, reference, scaled};
use super::{MOST_PORTS, Parameter, Touchstone};
use crate::ReadError;

/// A line without its comment, with its number from 1.
#[derive(Clone, Copy)]
struct Line<'t> {
    number: u64,
    text: &'t str,
}

/// Which elements of a matrix are written, for the keywords of version 2.
#[derive(Clone, Copy, PartialEq, Eq)]
enum MatrixFormat {
    Full,
    Lower,
    Upper,
}

/// Order of the off-diagonal elements of a two-port.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Order {
    ByRows,
    ByColumns,
}

/// How the numbers of one frequency follow each other.
struct Layout {
    ports: usize,
    order: Order,
    format: MatrixFormat,
}

impl Layout {
    fn pairs(&self) -> usize {
        match self.format {
            MatrixFormat::Full => self.ports * self.ports,
            _ => self.ports * (self.ports + 1) / 2,
        }
    }

    /// Puts the values of one frequency into a full matrix, row by row.
    fn matrix(&self, values: &[Complex64]) -> Vec<Complex64> {
        let n = self.ports;
        let mut matrix = vec![Complex64::new(0.0, 0.0); n * n];
        let mut next = values.iter();
        for row in 0..n {
            let columns = match self.format {
                MatrixFormat::Full => 0..n,
                MatrixFormat::Lower => 0..row + 1,
                MatrixFormat::Upper => row..n,
            };
            for column in columns {
                let Some(&value) = next.next() else { return matrix };
                let by_columns =
                    self.format == MatrixFormat::Full && n == 2 && self.order == Order::ByColumns;
                let (i, j) = if by_columns { (column, row) } else { (row, column) };
                matrix[i * n + j] = value;
                if self.format != MatrixFormat::Full {
                    matrix[j * n + i] = value;
                }
            }
        }
        matrix
    }
}

/// Reads a Touchstone file from its bytes. `name` stands for the file in errors; an ending such as `.s2p` must fit the
/// number of ports, and decides where the lines of version 1 leave it open.
///
/// # Errors
/// [`ReadError`] with the line and the remedy.
pub fn read(name: &str, bytes: &[u8]) -> Result<Touchstone, ReadError> {
    let text = String::from_utf8_lossy(bytes);
    let text = text.trim_start_matches('\u{feff}').replace("\r\n", "\n").replace('\r', "\n");
    let lines: Vec<Line> = (1..)
        .zip(text.lines())
        .map(|(number, line)| Line { number, text: line.split('!').next().unwrap_or("").trim() })
        .filter(|line| !line.text.is_empty())
        .collect();
    if lines.is_empty() {
        return Err(ReadError::Empty { file: name.to_owned() });
    }
    let mut reader = Reader { name, lines: &lines, next: 0, findings: Vec::new() };
    let network = if keyword(lines[0].text).is_some() { reader.version_2()? } else { reader.version_1()? };
    Ok(network)
}

/// Name and argument of a `[Keyword] argument` line.
fn keyword(text: &str) -> Option<(&str, &str)> {
    let (name, argument) = text.strip_prefix('[')?.split_once(']')?;
    Some((name.trim(), argument.trim()))
}

/// Ports by the ending of the file's name: `.s2p`.
fn ports_by_name(name: &str) -> Option<usize> {
    let (_, ending) = name.rsplit_once('.')?;
    let ending = ending.to_ascii_lowercase();
    let ports = ending.strip_prefix('s')?.strip_suffix('p')?.parse().ok()?;
    (1..=MOST_PORTS).contains(&ports).then_some(ports)
}

struct Reader<'t> {
    name: &'t str,
    lines: &'t [Line<'t>],
    next: usize,
    findings: Vec<Finding>,
}

impl<'t> Reader<'t> {
    fn fault(&self, line: u64, (expected, found, remedy): Fault) -> ReadError {
        ReadError::Line { file: self.name.to_owned(), line, expected, found, remedy }
    }

    fn wrong(
        &self,
        line: u64,
        expected: impl Into<String>,
        found: impl Into<String>,
        remedy: &str,
    ) -> ReadError {
        self.fault(line, (expected.into(), found.into(), remedy.to_owned()))
    }

    fn take(&mut self) -> Option<Line<'t>> {
        let line = self.lines.get(self.next).copied();
        self.next += usize::from(line.is_some());
        line
    }

    /// Number of the last line, for what is missing at the end.
    fn end(&self) -> u64 {
        self.lines.last().map_or(1, |line| line.number)
    }

    fn option_line(&self, line: Line) -> Result<Options, ReadError> {
        options(&line.text[1..]).map_err(|fault| self.fault(line.number, fault))
    }

    fn version_1(&mut self) -> Result<Touchstone, ReadError> {
        let first = self.lines[0];
        if !first.text.starts_with('#') {
            return Err(self.wrong(
                first.number,
                "the option line of a Touchstone file before all data",
                quoted(first.text),
                "begin with a line like \"# MHz S RI R 50\", or with \"[Version] 2.0\"",
            ));
        }
        self.next = 1;
        let options = self.option_line(first)?;
        let mut data = Vec::new();
        for &line in &self.lines[1..] {
            if !line.text.starts_with('#') {
                data.push(line);
            } else if !self.findings.iter().any(|f| f.code == "touchstone-option-repeated") {
                self.findings.push(Finding::note(
                    "touchstone-option-repeated",
                    format!("line {}: a second option line, passed over: the first one holds", line.number),
                    "take it out if it does not belong there",
                ));
            }
        }
        let ports = self.ports_of_version_1(&data)?;
        let layout = Layout { ports, order: Order::ByColumns, format: MatrixFormat::Full };
        self.check_parameter(first.number, options.parameter, ports)?;
        let mut network =
            self.data(&data, &layout, &options, vec![options.reference_ohm; ports], Noise::MayFollow)?;
        remove_normalisation(&mut network, options.reference_ohm);
        Ok(network)
    }

    /// A frequency makes the count of numbers odd where each frequency begins, and rows that go on have pairs only. So
    /// the first frequency tells the number of ports.
    fn ports_of_version_1(&self, data: &[Line]) -> Result<usize, ReadError> {
        let Some(first) = data.first() else {
            return Err(self.no_data());
        };
        let count = |line: &Line| line.text.split_whitespace().count();
        let more = data[1..].iter().map(count).take_while(|c| c % 2 == 0).sum::<usize>();
        let numbers = count(first) + more;
        let seen = (1..=MOST_PORTS).find(|n| 1 + 2 * n * n == numbers);
        let told = ports_by_name(self.name);
        match (seen, told) {
            (Some(seen), Some(told)) if seen != told => Err(self.wrong(
                first.number,
                format!(
                    "{} numbers for each frequency, as the name of the file says {}",
                    1 + 2 * told * told,
                    counted(told)
                ),
                format!("{numbers}, as of {}", counted(seen)),
                "rename the file, or export it again",
            )),
            (Some(ports), _) | (None, Some(ports)) => Ok(ports),
            (None, None) => Err(self.wrong(
                first.number,
                "a frequency and the 2·n² numbers of n ports",
                format!("{numbers} numbers"),
                "complete the line, or let the name of the file end in .s1p, .s2p and so on",
            )),
        }
    }

    fn no_data(&self) -> ReadError {
        self.wrong(self.end(), "network data", "the end of the file", "export the file again")
    }

    fn check_parameter(&self, line: u64, parameter: Parameter, ports: usize) -> Result<(), ReadError> {
        if matches!(parameter, Parameter::G | Parameter::H) && ports != 2 {
            return Err(self.wrong(
                line,
                "two ports, as G and H parameters are for two-ports only",
                counted(ports),
                "export S parameters",
            ));
        }
        Ok(())
    }

    fn version_2(&mut self) -> Result<Touchstone, ReadError> {
        let head = self.head()?;
        let Some((option_line, options)) = head.options else {
            return Err(self.wrong(
                self.end(),
                "an option line",
                "none before [Network Data]",
                "add a line like \"# MHz S RI R 50\" behind [Version]",
            ));
        };
        let missing = |what: &str| {
            self.wrong(
                head.data_line,
                format!("[{what}] before [Network Data]"),
                "none",
                "add it: version 2 requires it",
            )
        };
        let Some(ports) = head.ports else { return Err(missing("Number of Ports")) };
        let Some(frequencies) = head.frequencies else { return Err(missing("Number of Frequencies")) };
        if ports == 2 && head.order.is_none() {
            return Err(missing("Two-Port Data Order"));
        }
        if let Some(told) = ports_by_name(self.name).filter(|&told| told != ports) {
            return Err(self.wrong(
                head.data_line,
                format!("{}, as the name of the file says", counted(told)),
                format!("[Number of Ports] {ports}"),
                "rename the file, or export it again",
            ));
        }
        self.check_parameter(option_line, options.parameter, ports)?;
        let reference = head.reference.unwrap_or_else(|| vec![options.reference_ohm; ports]);
        let layout = Layout { ports, order: head.order.unwrap_or(Order::ByRows), format: head.format };
        let data = self.block();
        let network = self.data(&data, &layout, &options, reference, Noise::HasItsOwnKeyword)?;
        if network.frequency_hz.len() as u64 != frequencies {
            return Err(self.wrong(
                data.last().map_or(head.data_line, |line| line.number),
                format!("{frequencies} frequencies, as [Number of Frequencies] says"),
                format!("{}", network.frequency_hz.len()),
                "export the file again, since it may be cut short, or correct the number",
            ));
        }
        self.after_data(network)
    }

    /// Lines up to the next keyword.
    fn block(&mut self) -> Vec<Line<'t>> {
        let rest = &self.lines[self.next..];
        let length = rest.iter().take_while(|line| !line.text.starts_with('[')).count();
        self.next += length;
        rest[..length].to_vec()
    }

    /// [Noise Data] and [End].
    fn after_data(&mut self, mut network: Touchstone) -> Result<Touchstone, ReadError> {
        while let Some(line) = self.take() {
            let name = keyword(line.text).map_or("", |(name, _)| name);
            if name.eq_ignore_ascii_case("End") {
                return Ok(network);
            }
            if !name.eq_ignore_ascii_case("Noise Data") {
                return Err(self.wrong(
                    line.number,
                    "[Noise Data] or [End] after the network data",
                    quoted(line.text),
                    "move it before [Network Data], or take it out",
                ));
            }
            let rows = self.block().len();
            network.findings.push(noise_skipped(line.number, rows));
        }
        network.findings.push(Finding::note(
            "touchstone-no-end",
            "the file ends without [End], though all frequencies are there",
            "look whether the file was cut short",
        ));
        Ok(network)
    }

    /// Everything before the network data.
    fn head(&mut self) -> Result<Head, ReadError> {
        let mut head = Head::default();
        // (line, numbers) of [Reference], whose count can be checked only once the ports are known.
        let mut references: Option<(u64, Vec<f64>)> = None;
        let mut order_line = None;
        let mut seen: Vec<String> = Vec::new();
        let first = self.lines[0].number;
        while let Some(line) = self.take() {
            if line.text.starts_with('#') {
                if head.options.is_some() {
                    return Err(self.wrong(line.number, "one option line", "a second one", "take one out"));
                }
                head.options = Some((line.number, self.option_line(line)?));
                continue;
            }
            let Some((name, argument)) = keyword(line.text) else {
                return Err(self.wrong(
                    line.number,
                    "a keyword in brackets, or the option line",
                    quoted(line.text),
                    "put [Network Data] before the data",
                ));
            };
            let lower = name.to_ascii_lowercase();
            if seen.contains(&lower) {
                return Err(self.wrong(
                    line.number,
                    "each keyword once",
                    format!("[{name}] again"),
                    "take one out",
                ));
            }
            if seen.is_empty() && lower != "version" {
                return Err(self.wrong(
                    line.number,
                    "[Version] as the first keyword",
                    quoted(line.text),
                    "put \"[Version] 2.0\" before it",
                ));
            }
            match lower.as_str() {
                "version" if matches!(argument, "2.0" | "2.1") => {}
                "version" => {
                    return Err(self.wrong(
                        line.number,
                        "[Version] 2.0 or 2.1",
                        quoted(argument),
                        "export in one of these; files of version 1 have no such keyword",
                    ));
                }
                "number of ports" => {
                    let most = MOST_PORTS as u64;
                    let ports = self.count(line, argument, most)?;
                    head.ports = usize::try_from(ports).ok();
                }
                "number of frequencies" => {
                    head.frequencies = Some(self.count(line, argument, u64::from(u32::MAX))?);
                }
                "number of noise frequencies" => {
                    self.count(line, argument, u64::from(u32::MAX))?;
                }
                "two-port data order" | "two-port order" => {
                    order_line = Some(line.number);
                    head.order = Some(match argument {
                        "12_21" => Order::ByRows,
                        "21_12" => Order::ByColumns,
                        _ => return Err(self.word(line, "12_21 or 21_12", argument)),
                    });
                }
                "matrix format" => {
                    head.format = match argument.to_ascii_lowercase().as_str() {
                        "full" => MatrixFormat::Full,
                        "lower" => MatrixFormat::Lower,
                        "upper" => MatrixFormat::Upper,
                        _ => return Err(self.word(line, "Full, Lower or Upper", argument)),
                    };
                }
                "reference" => references = Some((line.number, self.references(line, argument)?)),
                "begin information" => self.skip_information(line.number)?,
                "mixed-mode order" => {
                    return Err(self.wrong(
                        line.number,
                        "parameters of single ports",
                        "[Mixed-Mode Order]: common and differential modes",
                        "export single-ended S parameters",
                    ));
                }
                "network data" => {
                    head.data_line = line.number;
                    break;
                }
                _ => {
                    return Err(self.wrong(
                        line.number,
                        "a keyword of version 2 (Version, Number of Ports, Two-Port Data Order, Number of Frequencies, \
                         Number of Noise Frequencies, Reference, Matrix Format, Begin Information, Network Data)",
                        quoted(line.text),
                        "correct its spelling, or take it out",
                    ));
                }
            }
            seen.push(lower);
        }
        if head.data_line == 0 {
            return Err(self.wrong(
                self.end().max(first),
                "[Network Data]",
                "the end of the file",
                "export again",
            ));
        }
        if let (Some(line), Some(ports)) = (order_line, head.ports.filter(|&ports| ports != 2)) {
            return Err(self.wrong(
                line,
                "[Two-Port Data Order] with two ports only",
                format!("[Number of Ports] {ports}"),
                "take it out",
            ));
        }
        if let (Some((line, references)), Some(ports)) = (references, head.ports) {
            if references.len() != ports {
                return Err(self.wrong(
                    line,
                    format!("one reference resistance for each port, that is {ports}"),
                    format!("{}", references.len()),
                    "complete them, if need be on the following lines",
                ));
            }
            head.reference = Some(references);
        }
        Ok(head)
    }

    fn word(&self, line: Line, expected: &str, found: &str) -> ReadError {
        self.wrong(line.number, expected, quoted(found), "write one of these")
    }

    fn count(&self, line: Line, argument: &str, most: u64) -> Result<u64, ReadError> {
        argument.parse().ok().filter(|count| (1..=most).contains(count)).ok_or_else(|| {
            self.wrong(
                line.number,
                format!("a whole number from 1 to {most}"),
                quoted(argument),
                "write the number behind the keyword",
            )
        })
    }

    /// The numbers behind [Reference] and on the lines after it.
    fn references(&mut self, line: Line, argument: &str) -> Result<Vec<f64>, ReadError> {
        let mut found = Vec::new();
        let mut add = |number: u64, text: &str, reader: &Self| {
            for word in text.split_whitespace() {
                found.push(reference(word).map_err(|fault| reader.fault(number, fault))?);
            }
            Ok(())
        };
        add(line.number, argument, self)?;
        while let Some(next) = self.lines.get(self.next) {
            if next.text.starts_with(['[', '#']) {
                break;
            }
            add(next.number, next.text, self)?;
            self.next += 1;
        }
        Ok(found)
    }

    fn skip_information(&mut self, from: u64) -> Result<(), ReadError> {
        while let Some(line) = self.take() {
            if keyword(line.text).is_some_and(|(name, _)| name.eq_ignore_ascii_case("End Information")) {
                return Ok(());
            }
        }
        Err(self.wrong(from, "[End Information] somewhere after it", "the end of the file", "add it"))
    }

    /// The rows of network data.
    fn data(
        &mut self,
        lines: &[Line],
        layout: &Layout,
        options: &Options,
        reference_ohm: Vec<f64>,
        noise: Noise,
    ) -> Result<Touchstone, ReadError> {
        let expected = 1 + 2 * layout.pairs();
        let mut network = Touchstone {
            ports: layout.ports,
            parameter: options.parameter,
            reference_ohm,
            frequency_hz: Vec::new(),
            matrices: Vec::new(),
            findings: std::mem::take(&mut self.findings),
        };
        let mut at = 0;
        while let Some(first) = lines.get(at) {
            let count = first.text.split_whitespace().count();
            let frequency = first.text.split_whitespace().next().unwrap_or("");
            let Some(frequency_hz) = scaled(frequency, options.power).filter(|f| *f >= 0.0) else {
                return Err(self.wrong(
                    first.number,
                    "a frequency, as a number not below zero",
                    quoted(frequency),
                    "correct it, or put a ! before a remark",
                ));
            };
            if let Some(&last) = network.frequency_hz.last()
                && !(frequency_hz > last)
            {
                if noise == Noise::MayFollow && layout.ports == 2 && count == 5 {
                    self.check_noise(&lines[at..], options.power)?;
                    network.findings.push(noise_skipped(first.number, lines.len() - at));
                    break;
                }
                return Err(self.wrong(
                    first.number,
                    format!("a frequency above {last} Hz, that of the row before"),
                    format!("{frequency_hz} Hz"),
                    "sort the rows by frequency, each frequency once",
                ));
            }
            let mut numbers: Vec<f64> = Vec::with_capacity(expected - 1);
            let mut words = first.text.split_whitespace();
            words.next();
            let mut line = first;
            loop {
                for word in words {
                    numbers.push(number(word).ok_or_else(|| {
                        self.wrong(line.number, "a finite number", quoted(word), "correct it")
                    })?);
                }
                at += 1;
                if numbers.len() + 1 >= expected {
                    break;
                }
                let Some(next) = lines.get(at) else { break };
                line = next;
                words = next.text.split_whitespace();
            }
            if numbers.len() + 1 != expected {
                return Err(self.wrong(
                    line.number,
                    format!("{expected} numbers for the frequency that begins on line {}", first.number),
                    format!("{}", numbers.len() + 1),
                    "complete the row, and begin each frequency on a new line",
                ));
            }
            let values: Vec<Complex64> =
                numbers.chunks_exact(2).map(|pair| options.format.complex(pair[0], pair[1])).collect();
            if !values.iter().all(|value| value.is_finite()) {
                return Err(self.wrong(
                    first.number,
                    "finite values",
                    "one too large",
                    "export the file again",
                ));
            }
            network.frequency_hz.push(frequency_hz);
            network.matrices.push(layout.matrix(&values));
        }
        if network.frequency_hz.is_empty() {
            return Err(self.no_data());
        }
        Ok(network)
    }

    /// Noise rows: frequency, minimum noise figure, source reflection (magnitude, angle), noise resistance.
    fn check_noise(&self, lines: &[Line], power: i32) -> Result<(), ReadError> {
        let mut last = f64::NEG_INFINITY;
        for line in lines {
            let words: Vec<&str> = line.text.split_whitespace().collect();
            let frequency = words.first().and_then(|word| scaled(word, power)).filter(|f| *f > last);
            match frequency {
                Some(frequency) if words.len() == 5 && words.iter().all(|w| number(w).is_some()) => {
                    last = frequency
                }
                _ => {
                    return Err(self.wrong(
                        line.number,
                        "noise data: five numbers, frequency rising",
                        quoted(line.text),
                        "take the noise data out, or correct the order of the rows",
                    ));
                }
            }
        }
        Ok(())
    }
}

/// Whether noise data may stand right behind the network data.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Noise {
    MayFollow,
    HasItsOwnKeyword,
}

/// What stands before the network data of version 2.
struct Head {
    /// Line and content of the option line.
    options: Option<(u64, Options)>,
    ports: Option<usize>,
    frequencies: Option<u64>,
    order: Option<Order>,
    format: MatrixFormat,
    reference: Option<Vec<f64>>,
    /// Line of [Network Data]; 0 before it is found.
    data_line: u64,
}

impl Default for Head {
    fn default() -> Self {
        Self {
            options: None,
            ports: None,
            frequencies: None,
            order: None,
            format: MatrixFormat::Full,
            reference: None,
            data_line: 0,
        }
    }
}

fn counted(ports: usize) -> String {
    if ports == 1 { "1 port".to_owned() } else { format!("{ports} ports") }
}

fn noise_skipped(line: u64, rows: usize) -> Finding {
    Finding::note(
        "touchstone-noise-skipped",
        format!("from line {line} on: {rows} rows of noise data, passed over"),
        "",
    )
}

/// Version 1 states Z in units of R, Y in units of 1/R, and the elements of G and H accordingly.
fn remove_normalisation(network: &mut Touchstone, reference_ohm: f64) {
    let r = reference_ohm;
    let n = network.ports;
    let factor = |k: usize| match (network.parameter, k) {
        (Parameter::Z, _) | (Parameter::H, 0) | (Parameter::G, 3) => r,
        (Parameter::Y, _) | (Parameter::G, 0) | (Parameter::H, 3) => 1.0 / r,
        _ => 1.0,
    };
    let factors: Vec<f64> = (0..n * n).map(factor).collect();
    for matrix in &mut network.matrices {
        for (value, factor) in matrix.iter_mut().zip(&factors) {
            *value *= factor;
        }
    }
}
