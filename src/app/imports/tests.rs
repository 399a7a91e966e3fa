use super::*;
use crate::db::castings::VariantName;
use crate::units::Currency;

fn sent<'a>(text: &'a str, columns: &'a [String]) -> Sent<'a> {
    Sent {
        text,
        columns,
        dates: DateOrder::DayFirst,
    }
}

#[test]
fn headings_are_guessed_and_faults_named_by_row() {
    let table = "Company\tTelephone\tE-mail\tTown\tBalance\nHale  Boats\t01304\ta@b.example\tDunmore\t5\n\nhale boats\t1\t\t\t\n\t2\t\t\t";
    let (looked, rows) = read::<customers::Customers>(sent(table, &[]), &());
    let expected = [
        Some("name"),
        Some("phone"),
        Some("email"),
        Some("address"),
        None,
    ];
    assert_eq!(looked.columns, expected);
    assert_eq!(rows[0].name, "Hale Boats");
    assert_eq!(rows[0].address, "Dunmore");
    assert_eq!(
        looked.faults,
        [(3, Fault::Twice(2)), (4, Fault::Missing("name"))]
    );
    let mapped = ["note", "name"].map(str::to_owned);
    let (_, rows) = read::<customers::Customers>(sent(table, &mapped), &());
    assert_eq!(
        (rows[0].name.as_str(), rows[0].note.as_str()),
        ("01304", "Hale Boats")
    );
    let long = format!("Name\n{}", "x".repeat(121));
    let (looked, _) = read::<customers::Customers>(sent(&long, &[]), &());
    assert_eq!(looked.faults, [(2, Fault::TooLong("name", 120))]);
    let (looked, _) = read::<customers::Customers>(sent("Name", &[]), &());
    assert!(!looked.is_sound());
}

#[test]
fn a_casting_needs_its_variant_and_what_it_cost() {
    let around = (
        vec![VariantName {
            id: Uuid::from_u128(1),
            name: "Hill 4/80 farm".to_owned(),
        }],
        Currency::from_code("GBP").unwrap(),
    );
    let table = "Block,Cost,Owner,Result,Date\nhill 4/80 FARM,\"£1,250\",,good,3/2/2026\nHill 4/80 farm,,A. Brand,,\n\
                 Hill 4/80 farm,,,,\nHill 9,1,,,\nHill 4/80 farm,1,,good,\nHill 4/80 farm,1,,perhaps,\nHill 4/80 farm,-1,,,";
    let (looked, rows) = read::<castings::Castings>(sent(table, &[]), &around);
    assert_eq!(rows.len(), 2);
    let faults: Vec<_> = looked
        .faults
        .iter()
        .map(|(row, fault)| (*row, fault))
        .collect();
    assert_eq!(
        faults[..4],
        [
            (4, &Fault::Missing("cost")),
            (5, &Fault::Unknown("variant", "Hill 9".to_owned())),
            (6, &Fault::Missing("inspected_on")),
            (7, &Fault::Unknown("outcome", "perhaps".to_owned())),
        ]
    );
    assert!(matches!(faults[4], (8, Fault::Unread("cost", _))));
}

#[test]
fn past_hours_are_read_as_hours() {
    let pounds = Currency::from_code("GBP").unwrap();
    let elements = crate::estimating::starting::elements(pounds, Uuid::now_v7).unwrap();
    let table = "Date;Job;Work;Qty;Hours\n12/01/2026;41;deck-face;1;2.5\n12 Jan 2026;41;HONE-CYLINDER;4;1:30\n\
                 2026-01-13;;DECK-FACE;;90 min\n13/01/2026;41;Polishing;;1\n13/01/2026;;DECK-FACE;;0\n31/31/2026;;DECK-FACE;;1";
    let (looked, rows) = read::<past_work::PastWork>(sent(table, &[]), &elements);
    let told: Vec<_> = rows
        .iter()
        .map(|row| (row.count, row.minutes.to_string()))
        .collect();
    let expected = [(1, "2 h 30 min"), (4, "1 h 30 min"), (1, "1 h 30 min")];
    assert_eq!(told, expected.map(|(count, text)| (count, text.to_owned())));
    let rows: Vec<usize> = looked.faults.iter().map(|(row, _)| *row).collect();
    assert_eq!(rows, [5, 6, 7]);
    assert_eq!(
        looked.faults[0].1,
        Fault::Unknown("work", "Polishing".to_owned())
    );
}
