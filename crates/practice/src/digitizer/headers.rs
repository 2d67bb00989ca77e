//! The headers that the digitizer knows, all of IEEE 488.2-1992 and SCPI-1999 (volume 2; chapter numbers from memory).

use std::sync::LazyLock;

use flattop_scpi::header::Pattern;
use flattop_scpi::message::{Unit, UnitKind};

/// What a header asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Header {
    ClearStatus,
    EventEnable,
    Events,
    Identity,
    OperationComplete,
    Reset,
    ServiceEnable,
    StatusByte,
    Trigger,
    SelfTest,
    Wait,
    Abort,
    Fetch,
    Format,
    ByteOrder,
    Initiate,
    Read,
    Close,
    CloseState,
    Points,
    Interval,
    RecordTime,
    Resolution,
    Offset,
    OperationEvents,
    OperationCondition,
    OperationEnable,
    Preset,
    QuestionableEvents,
    QuestionableCondition,
    QuestionableEnable,
    NextError,
    ErrorCount,
    Version,
}

/// How a header may be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Use {
    Command,
    Query,
    Both,
}

use Header as H;
use Use::{Both, Command, Query};

/// Header as it is printed, what it asks for, how it may be used, what it does in a few words.
pub(super) const HEADERS: [(&str, Header, Use, &str); 34] = [
    ("*CLS", H::ClearStatus, Command, "clears events and errors"),
    ("*ESE", H::EventEnable, Both, "which standard events count in the status byte"),
    ("*ESR", H::Events, Query, "the standard events, and clears them"),
    ("*IDN", H::Identity, Query, "who it is"),
    ("*OPC", H::OperationComplete, Both, "as a question, answers 1 once the capture is complete"),
    ("*RST", H::Reset, Command, "back to 10 000 points 1 us apart, input 1, ASCii"),
    ("*SRE", H::ServiceEnable, Both, "which bits of the status byte ask for service"),
    ("*STB", H::StatusByte, Query, "the status byte"),
    ("*TRG", H::Trigger, Command, "is ignored: it triggers by itself"),
    ("*TST", H::SelfTest, Query, "answers 0: nothing is broken"),
    ("*WAI", H::Wait, Command, "holds what follows until the capture is complete"),
    ("ABORt", H::Abort, Command, "gives up a capture that is under way"),
    ("FETCh", H::Fetch, Query, "the samples of the last capture, V at the tip"),
    ("FORMat[:DATA]", H::Format, Both, "ASCii, REAL with 32 or 64 bits, INTeger with 8, 16 or 32 bits"),
    ("FORMat:BORDer", H::ByteOrder, Both, "NORMal, most significant byte first, or SWAPped"),
    ("INITiate[:IMMediate][:ALL]", H::Initiate, Command, "begins a capture"),
    ("READ", H::Read, Query, "ABORt, INITiate and FETCh? in one"),
    ("ROUTe:CLOSe", H::Close, Command, "chooses an input: (@1), (@2), ..."),
    ("ROUTe:CLOSe:STATe", H::CloseState, Query, "the input that is chosen"),
    ("[SENSe:]SWEep:POINts", H::Points, Both, "number of samples, 100 to 1 000 000"),
    ("[SENSe:]SWEep:TINTerval", H::Interval, Both, "time between samples, 1 ns to 1 ms"),
    ("[SENSe:]SWEep:TIME", H::RecordTime, Query, "length of a record"),
    ("[SENSe:]VOLTage[:DC]:RESolution", H::Resolution, Query, "volts of one code as it is sent with INTeger"),
    ("[SENSe:]VOLTage[:DC]:RANGe:OFFSet", H::Offset, Query, "volts of code 0"),
    (
        "STATus:OPERation[:EVENt]",
        H::OperationEvents,
        Query,
        "operation events, and clears them; 16 is: has measured",
    ),
    ("STATus:OPERation:CONDition", H::OperationCondition, Query, "16 while it is measuring"),
    ("STATus:OPERation:ENABle", H::OperationEnable, Both, "which of them count in the status byte"),
    ("STATus:PRESet", H::Preset, Command, "enables nothing"),
    ("STATus:QUEStionable[:EVENt]", H::QuestionableEvents, Query, "answers 0"),
    ("STATus:QUEStionable:CONDition", H::QuestionableCondition, Query, "answers 0"),
    ("STATus:QUEStionable:ENABle", H::QuestionableEnable, Both, "which of them count in the status byte"),
    ("SYSTem:ERRor[:NEXT]", H::NextError, Query, "the oldest error, and takes it out"),
    ("SYSTem:ERRor:COUNt", H::ErrorCount, Query, "how many errors there are"),
    ("SYSTem:VERSion", H::Version, Query, "1999.0"),
];

static PATTERNS: LazyLock<Vec<(Pattern, Header, Use)>> = LazyLock::new(|| {
    // Each of the table is a pattern, which a test sees to.
    HEADERS
        .iter()
        .filter_map(|(print, header, used, _)| Some((Pattern::new(print)?, *header, *used)))
        .collect()
});

/// What a unit asks for; `None` where no header is spelled so, or not used so.
pub(super) fn find(unit: &Unit) -> Option<Header> {
    let used = match unit.kind {
        UnitKind::Command => Command,
        UnitKind::Query => Query,
    };
    let mut known = PATTERNS.iter().filter(|(pattern, ..)| pattern.numbers(&unit.header).is_some());
    known.find(|(_, _, may)| *may == Both || *may == used).map(|(_, header, _)| *header)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_header_is_a_pattern_and_finds_itself() {
        assert_eq!(PATTERNS.len(), HEADERS.len());
        for (print, header, used, _) in HEADERS {
            let long = print.replace(['[', ']'], "");
            for (kind, may) in [(UnitKind::Command, Command), (UnitKind::Query, Query)] {
                let unit = Unit { header: long.clone(), kind, data: Vec::new() };
                assert_eq!(find(&unit), (used == Both || used == may).then_some(header), "{print}");
            }
        }
    }
}
