//! What a table of parts, a netlist or a Gerber layer does to a session: placements, limits, both, where nets are
//! touched, the board's outline or one side's parts.

use analysis::board::{
    BoardFileError, LengthUnit, is_gerber, is_netlist, parse_gerber, parse_limits, parse_netlist,
    parse_placements,
};
use analysis::session::Command;

use crate::intake::DroppedText;

/// What came of reading a table.
#[derive(Debug, Clone, PartialEq)]
pub enum TableRead {
    /// It holds placements, limits or both, or a netlist or a layer, with what is odd in them.
    Parts {
        /// What it does to the session.
        commands: Vec<Command>,
        /// What a person should know, each with the file's name.
        warnings: Vec<String>,
    },
    /// Nothing says in which unit its places are.
    UnitUnstated {
        /// How far the parts spread, in the file's numbers.
        span: [f64; 2],
    },
    /// It is no table of parts.
    NoParts,
    /// It is one, and damaged: what is wrong, with the file's name.
    Damaged(String),
}

/// Reads a table whose places are in `unit`, where it does not say so itself.
#[must_use]
pub fn read_table(table: &DroppedText, unit: Option<LengthUnit>) -> TableRead {
    let DroppedText { file_name, text } = table;
    let mut commands = Vec::new();
    let mut warnings = Vec::new();
    if is_gerber(text) {
        return match parse_gerber(file_name, text) {
            Ok((layer, odd)) => {
                let file_name = file_name.clone();
                warnings.extend(odd.iter().map(|warning| format!("{file_name}: {warning}")));
                commands.push(Command::load_layer(file_name, layer));
                TableRead::Parts { commands, warnings }
            }
            Err(error) => TableRead::Damaged(error.to_string()),
        };
    }
    if is_netlist(text) {
        return match parse_netlist(file_name, text) {
            Ok((netlist, odd)) => {
                commands.push(Command::LoadNetlist { file_name: file_name.clone(), netlist });
                warnings.extend(odd.iter().map(|warning| format!("{file_name}: {warning}")));
                TableRead::Parts { commands, warnings }
            }
            Err(error) => TableRead::Damaged(error.to_string()),
        };
    }
    match parse_placements(file_name, text, unit) {
        Ok((placements, odd)) => {
            commands.push(Command::LoadPlacements { file_name: file_name.clone(), placements });
            warnings.extend(odd.iter().map(|warning| format!("{file_name}: {warning}")));
        }
        Err(BoardFileError::NoHeadings { .. }) => {}
        Err(BoardFileError::UnitUnstated { span, .. }) => return TableRead::UnitUnstated { span },
        Err(error) => return TableRead::Damaged(error.to_string()),
    }
    match parse_limits(file_name, text) {
        Ok((limits, odd)) => {
            commands.push(Command::LoadLimits { file_name: file_name.clone(), limits });
            warnings.extend(odd.iter().map(|warning| format!("{file_name}: {warning}")));
        }
        Err(BoardFileError::NoHeadings { .. }) => {}
        Err(error) => return TableRead::Damaged(error.to_string()),
    }
    if commands.is_empty() { TableRead::NoParts } else { TableRead::Parts { commands, warnings } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, unit: Option<LengthUnit>) -> TableRead {
        read_table(&DroppedText { file_name: "parts.csv".to_owned(), text: text.to_owned() }, unit)
    }

    fn commands(read: TableRead) -> Vec<Command> {
        match read {
            TableRead::Parts { commands, .. } => commands,
            other => panic!("no parts: {other:?}"),
        }
    }

    #[test]
    fn placements_and_limits_are_told_apart_by_their_headings() {
        let placements = commands(read("Ref,X (mm),Y (mm)\nR1,1,2\n", None));
        assert!(matches!(placements.as_slice(), [Command::LoadPlacements { .. }]));
        let limits = commands(read("designator,max_case_degC\nU1,85\n", None));
        assert!(matches!(limits.as_slice(), [Command::LoadLimits { .. }]));
    }

    #[test]
    fn places_without_a_unit_are_asked_about_and_read_once_it_is_known() {
        let text = "Ref,X,Y\nR1,100,200\nR2,300,500\n";
        assert!(matches!(read(text, None), TableRead::UnitUnstated { .. }));
        let loaded = commands(read(text, Some(LengthUnit::Mil)));
        assert!(
            matches!(loaded.as_slice(), [Command::LoadPlacements { placements, .. }] if placements.len() == 2)
        );
    }

    #[test]
    fn a_netlist_is_loaded_as_one_and_without_its_unit_it_is_damaged() {
        let record = "327GND              R1    -2          A01X+001000Y+002000X0118Y0118R000 S2\n999\n";
        let loaded = commands(read(&format!("P  UNITS CUST 0\n{record}"), None));
        assert!(matches!(
            loaded.as_slice(),
            [Command::LoadNetlist { netlist, .. }] if netlist.points()[0].net.as_deref() == Some("GND")
        ));
        assert!(matches!(read(record, None), TableRead::Damaged(what) if what.contains("line 1")));
    }

    #[test]
    fn a_profile_is_loaded_as_the_outline_and_another_layer_is_refused() {
        let square =
            "%FSLAX24Y24*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\nX0Y0D02*\nX10000D01*\nY10000D01*\nX0Y0D01*\nM02*\n";
        let loaded = commands(read(&format!("%TF.FileFunction,Profile,NP*%\n{square}"), None));
        assert!(matches!(
            loaded.as_slice(),
            [Command::LoadOutline { outline, .. }] if outline.size() == [1.0, 1.0]
        ));
        let copper = read(&format!("%TF.FileFunction,Copper,L1,Top*%\n{square}"), None);
        assert!(matches!(copper, TableRead::Damaged(what) if what.contains("Copper,L1,Top")));
    }

    #[test]
    fn other_text_is_no_table_of_parts() {
        assert_eq!(read("21.5,22.0\n23.0,22.5\n", None), TableRead::NoParts);
    }
}
