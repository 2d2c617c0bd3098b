//! The session under random commands.

use analysis::board::{PointKind, TestPoint};
use analysis::capture::{BoardIdentity, CaptureMetadata, TestConditions};
use analysis::content_hash::ContentHash;
use analysis::geometry::Point;
use analysis::inspection::{Basis, Criteria, ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict};
use analysis::procedure::ContactMethod;
use analysis::session::{
    CaptureRecord, Command, Gauge, GaugePlace, History, Outcome, Role, Session, Verdict, saved,
};
use analysis::surface::region::PlacedOutline;
use analysis::surface::{Finish, Measured, Outline, Region};
use analysis::units::{Emissivity, Kelvin, KelvinDifference, TemperatureUnit};
use proptest::prelude::*;

/// One of eight captures, so that random commands meet the same ones again.
fn hash() -> impl Strategy<Value = ContentHash> {
    (0_u8..8).prop_map(|seed| ContentHash::of(&[seed]))
}

fn role() -> impl Strategy<Value = Role> {
    prop_oneof![Just(Role::Baseline), Just(Role::Unit), Just(Role::Waiting), Just(Role::Aside)]
}

fn finish() -> impl Strategy<Value = Finish> {
    (0.01_f64..=1.0, 0.0_f64..0.2, proptest::option::of(".{0,12}")).prop_map(
        |(emissivity, uncertainty, place)| {
            let emissivity = Emissivity::new(emissivity).expect("drawn in range");
            let measured = place.map(|place| Measured {
                procedure: ContactMethod::NAME.to_owned(),
                place,
                repeats: Some(3),
                emissivity,
                uncertainty,
            });
            Finish { measured, ..Finish::stated(emissivity, uncertainty) }
        },
    )
}

fn region() -> impl Strategy<Value = Region> {
    (".{0,12}", finish(), -50.0_f64..700.0, -50.0_f64..500.0).prop_map(|(name, finish, x, y)| Region {
        name,
        outline: PlacedOutline::Pixels(Outline::Rectangle {
            from: Point::new(x, y),
            to: Point::new(x + 9.5, y + 3.25),
        }),
        finish,
    })
}

fn command() -> impl Strategy<Value = Command> {
    let index = 0_usize..4;
    prop_oneof![
        ".{0,12}"
            .prop_map(|product| Command::NameBoard { board: BoardIdentity { product, serial: "7".into() } }),
        (0.0_f64..60.0).prop_map(|volts| Command::SetConditions {
            conditions: TestConditions { voltage: Some(volts), ..TestConditions::default() }
        }),
        (1.0_f64..400.0)
            .prop_map(|kelvin| Command::SetAmbient { ambient: Kelvin::new(kelvin).expect("in range") }),
        Just(Command::ShowTemperaturesIn { unit: TemperatureUnit::Fahrenheit }),
        (hash(), role()).prop_map(|(hash, role)| Command::AddCapture {
            record: CaptureRecord {
                file_name: format!("{hash}.tiff"),
                hash,
                role,
                metadata: CaptureMetadata::default()
            }
        }),
        hash().prop_map(|hash| Command::RemoveCapture { hash }),
        (hash(), role()).prop_map(|(hash, role)| Command::AssignRole { hash, role }),
        (hash(), ".{0,20}").prop_map(|(hash, notes)| Command::DescribeCapture {
            hash,
            metadata: CaptureMetadata { notes, ..CaptureMetadata::default() }
        }),
        finish().prop_map(|finish| Command::SetWholeFinish { finish }),
        region().prop_map(|region| Command::AddRegion { region }),
        (index.clone(), region()).prop_map(|(index, region)| Command::ChangeRegion { index, region }),
        index.clone().prop_map(|index| Command::RemoveRegion { index }),
        (index.clone(), index.clone()).prop_map(|(from, to)| Command::MoveRegion { from, to }),
        (0.1_f64..20.0).prop_map(|limit| Command::SetCriteria {
            criteria: Criteria {
                basis: Basis::Absolute,
                limit: KelvinDifference::new(limit).expect("finite"),
                ..Criteria::default()
            }
        }),
        (0.0_f64..640.0, 0.0_f64..480.0).prop_map(|(x, y)| Command::AddGauge {
            gauge: Gauge { name: "regulator".into(), place: GaugePlace::Point { at: Point::new(x, y) } }
        }),
        index.prop_map(|index| Command::RemoveGauge { index }),
        (".{1,4}", ".{0,6}").prop_map(|(target, read)| Command::RecordReading {
            key: ProbeKey { target, quantity: ProbeQuantity::Voltage },
            reading: ProbeReading { read, verdict: Some(ProbeVerdict::Recheck), ..ProbeReading::default() }
        }),
        ".{0,20}".prop_map(|reason| Command::Judge {
            verdict: Verdict { outcome: Outcome::Fail, reason, judged_by: String::new() }
        }),
        Just(Command::WithdrawVerdict),
        (-200.0_f64..200.0).prop_map(|x| Command::LoadOutline {
            file_name: "edge.gbr".into(),
            outline: vec![vec![Point::new(x, 0.0), Point::new(0.1, x), Point::new(-x, -x / 3.0)]].into(),
        }),
        (".{0,14}", -200.0_f64..200.0).prop_map(|(net, x)| Command::LoadNetlist {
            file_name: "board.ipc".into(),
            netlist: vec![TestPoint {
                net: Some(net),
                designator: Some("U1".into()),
                pin: None,
                at: Point::new(x, -x),
                kind: PointKind::SurfaceMount,
                from_top: true,
                from_bottom: false,
            }]
            .into(),
        }),
    ]
}

/// What must hold of every session, whatever was done to it.
fn check(session: &Session) {
    assert!(session.with_role(Role::Unit).count() <= 1, "two units under test");
    let mut hashes: Vec<_> = session.captures.iter().map(|record| &record.hash).collect();
    hashes.sort();
    hashes.dedup();
    assert_eq!(hashes.len(), session.captures.len(), "one capture twice");
    let mut noted: Vec<_> = session.other_units.iter().map(|notes| &notes.capture).collect();
    assert!(noted.iter().all(|hash| session.capture(hash).is_some()), "notes on a unit that is gone");
    let on_bench = session.unit().map(|unit| &unit.hash);
    assert!(noted.iter().all(|hash| Some(*hash) != on_bench), "notes apart from the unit that is here");
    noted.sort();
    noted.dedup();
    assert_eq!(noted.len(), session.other_units.len(), "two notes on one unit");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_commands_keep_the_session_sound_and_can_be_undone(commands in prop::collection::vec(command(), 0..60)) {
        let mut history = History::default();
        for command in commands {
            let before = history.present().clone();
            if history.apply(command).is_err() {
                prop_assert_eq!(&before, history.present(), "a refused command changed something");
            }
            check(history.present());
        }
        let last = history.present().clone();
        while history.can_undo() {
            history.undo();
            check(history.present());
        }
        prop_assert_eq!(history.present(), &Session::default());
        while history.can_redo() {
            history.redo();
        }
        prop_assert_eq!(history.present(), &last);
    }

    #[test]
    fn any_session_is_saved_and_read_back_to_the_same_bytes(commands in prop::collection::vec(command(), 0..30)) {
        let mut session = Session::default();
        for command in commands {
            // Refused commands leave the session as it was, which is just as good here.
            let _ = session.apply(command);
        }
        let text = saved::save(&session).expect("sessions can be saved");
        let back = saved::load(&text).expect("what was saved can be read");
        prop_assert_eq!(&back, &session);
        prop_assert_eq!(saved::save(&back).expect("sessions can be saved"), text);
    }

    #[test]
    fn a_damaged_saved_session_is_refused_without_panic(cut in 0_usize..4000, byte in any::<u8>()) {
        let mut bytes = saved::save(&Session::default()).expect("sessions can be saved").into_bytes();
        let place = cut % bytes.len();
        bytes[place] = byte;
        if let Ok(text) = String::from_utf8(bytes) {
            let _ = saved::load(&text);
            let _ = saved::load(text.get(..place).unwrap_or_default());
        }
    }
}
