//! What must hold of reading whatever the text is.

use calibriar::catalogue::Catalogue;
use calibriar::notation::{Context, DecimalMark, Quantity, Unit, read_cell};
use calibriar::table::{Content, Options, Uncertainty, read};
use proptest::prelude::*;

use crate::common::tables::{sheet, table};

proptest! {
    #[test]
    fn no_cell_is_read_as_anything_but_a_finite_number(text in "\\PC{0,20}") {
        for quantity in [Quantity::Length, Quantity::Mass, Quantity::Angle, Quantity::Colour] {
            for mark in [DecimalMark::Point, DecimalMark::Comma] {
                let context = Context { quantity, unit: quantity.base_unit(), mark };
                if let Ok(Some(written)) = read_cell(&text, &context) {
                    prop_assert!(written.value.is_finite() && written.step.is_finite());
                    prop_assert!(written.step > 0.0);
                    prop_assert!(written.standard_uncertainty.is_none_or(|u| u > 0.0));
                }
            }
        }
    }

    #[test]
    fn cells_of_the_forms_alphabet_never_panic(text in "[0-9 ./#,\"{}+±a-f-]{0,14}") {
        let context =
            Context { quantity: Quantity::Length, unit: Unit::Inch, mark: DecimalMark::Point };
        let _ = read_cell(&text, &context);
    }

    #[test]
    fn a_mixed_number_is_the_sum_of_its_parts(whole in 0u32..40, above in 1u32..64) {
        let millimetres = Context {
            quantity: Quantity::Length,
            unit: Unit::Millimetre,
            mark: DecimalMark::Point,
        };
        for between in [" ", "-", " - "] {
            let text = format!("{whole}{between}{above}/64");
            let written = read_cell(&text, &millimetres).unwrap().unwrap();
            prop_assert_eq!(written.value, (f64::from(whole) + f64::from(above) / 64.0) * 25.4);
            prop_assert_eq!(written.step, 25.4 / 64.0);
        }
    }

    #[test]
    fn any_bytes_give_a_table_or_a_named_error(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = read("any.csv", bytes, &Options::default(), Catalogue::standard());
    }

    #[test]
    fn any_cells_give_rows_or_located_faults(
        cells in prop::collection::vec("[0-9a-z./# \"{},;-]{0,8}", 0..24)
    ) {
        let mut text = String::from("specimen,pattern,bit thickness,weight,cant angle\n");
        for row in cells.chunks(4) {
            text.push_str(&format!("{}\n", row.join(",")));
        }
        let content = read("any.csv", text.into(), &Options::default(), Catalogue::standard());
        if let Ok(Content::Measurements(sheet)) = content {
            for fault in &sheet.faults {
                prop_assert!(fault.place.row >= 2 && fault.place.column <= 5);
            }
            for column in &sheet.table.columns {
                prop_assert_eq!(column.values.len(), sheet.table.specimens.len());
            }
        }
    }

    #[test]
    fn wide_and_long_say_the_same(
        readings in prop::collection::vec(prop::option::of(100u32..9000), 2..20)
    ) {
        let mut wide = String::from("specimen,pattern,bit width,bit thickness\n");
        let mut long = String::from("specimen,pattern,dimension,value\n");
        for (i, pair) in readings.chunks_exact(2).enumerate() {
            // Two decimals in every cell: the step of a cell is then that of its column.
            let cell = |r: &Option<u32>| {
                r.map_or(String::new(), |r| format!("{}.{:02}", r / 100, r % 100))
            };
            wide.push_str(&format!("s{i},p,{},{}\n", cell(&pair[0]), cell(&pair[1])));
            for (dimension, reading) in ["bit width", "bit thickness"].iter().zip(pair) {
                long.push_str(&format!("s{i},p,{dimension},{}\n", cell(reading)));
            }
        }
        let (wide, long) = (table(&wide), table(&long));
        prop_assert_eq!(wide.specimens.len(), long.specimens.len());
        for row in 0..wide.specimens.len() {
            for column in &wide.columns {
                let value = long.column(column.dimension).and_then(|c| c.value(row));
                prop_assert_eq!(column.value(row), value);
                if let Some(other) = long.column(column.dimension).filter(|_| value.is_some()) {
                    let (a, b) = (column.uncertainty(row), other.uncertainty(row));
                    prop_assert!((a - b).abs() < 1e-15);
                }
            }
        }
    }
}

/// A file large enough to be read in parts, and the same file with one quoted cell, which has to
/// be read in one piece.
#[test]
fn parts_read_side_by_side_are_the_whole() {
    let mut text = String::from("specimen,pattern,made,bit width,bit thickness\n");
    for i in 0..60_000u32 {
        let blank = if i % 97 == 0 { "\n" } else { "" };
        let (width, thickness) = (10 + i % 7, 3 + i % 3);
        text.push_str(&format!(
            "s{i:05},p{},19{},{width}.{:02},",
            i % 11,
            20 + i % 60,
            i % 100
        ));
        text.push_str(&format!("{thickness}.{:01}\n{blank}", i % 10));
    }
    let faulty = text
        .replace("s59990,", "s59990 ,")
        .replace("\ns59991,p", "\n,p");
    let quoted = |text: &str| text.replacen("s00007,", "\"s00007\",", 1);
    // Lines may end in other ways, and in several ways in one file.
    let returns = text.replace('\n', "\r\n");
    let mixed = text.replace("7\n", "7\r");
    for text in [&text, &faulty, &returns, &mixed] {
        let (parts, whole) = (sheet(text), sheet(&quoted(text)));
        assert_eq!(parts.faults, whole.faults);
        assert_eq!(parts.table.specimens.names, whole.table.specimens.names);
        assert_eq!(parts.table.specimens.made, whole.table.specimens.made);
        for row in [0, 1, 29_999, 30_000, 30_001, 59_000] {
            let pattern =
                |s: &calibriar::table::Sheet| s.table.specimens.patterns.get(row).to_owned();
            assert_eq!(pattern(&parts), pattern(&whole));
        }
        for (a, b) in parts.table.columns.iter().zip(&whole.table.columns) {
            assert_eq!(
                a.values.iter().map(|v| v.to_bits()).collect::<Vec<_>>(),
                b.values.iter().map(|v| v.to_bits()).collect::<Vec<_>>()
            );
            assert_eq!(a.uncertainty, b.uncertainty);
        }
        assert_eq!(parts.table.columns[0].uncertainty, Uncertainty::Step(0.01));
    }
    assert_eq!(sheet(&faulty).faults.len(), 1);
    // 60 000 rows, the header, and a blank line after each 97th row up to there.
    assert_eq!(
        sheet(&faulty).faults[0].place.row,
        59_991 + 2 + 59_991 / 97 + 1
    );
}
