use super::picture::*;
use crate::planning::engine::{sample::Sample, solve::first_plan};
use chrono::{DateTime, Duration, Utc};
#[test]
fn preview() {
    let model = Sample::week().make(9, None);
    let plan = first_plan(&model).unwrap();
    let o: DateTime<Utc> = "2026-11-23T00:00:00Z".parse().unwrap();
    let at = |m: i64| o + Duration::minutes(m);
    for days in [1, 7, 14, 28, 84] {
        let within = (o, o + Duration::days(days));
        let open: Vec<_> = model
            .people
            .iter()
            .flat_map(|p| p.calendar.windows().iter().map(|w| (at(w.0), at(w.1))))
            .filter(|w| w.0 < within.1)
            .collect();
        let ax = axis(open.clone(), within).unwrap();
        let block = |i: usize, person: bool| {
            let a = &plan.assignments[i];
            Block {
                key: format!("{i}"),
                href: "#".into(),
                label: (
                    model.jobs[model.operations[i].job].name.clone(),
                    model.operations[i].name.clone(),
                ),
                words: "words".into(),
                times: [
                    at(a.start),
                    at(a.start + a.setup),
                    at(if person { a.attended_until } else { a.end }),
                ],
                standing: match i % 17 {
                    0 => Standing::Started,
                    1 => Standing::Pinned,
                    2 => Standing::Held,
                    _ => Standing::Queued,
                },
                late: i % 13 == 0,
                side: match i % 29 {
                    5 => Side::After,
                    6 => Side::Before,
                    _ => Side::Plain,
                },
                chosen: i == 20,
            }
        };
        let machines = (0..model.machines.len())
            .map(|m| Row {
                name: model.machines[m].name.clone(),
                href: Some("#".into()),
                open: Some(
                    model.machines[m]
                        .calendar
                        .windows()
                        .iter()
                        .map(|w| (at(w.0), at(w.1)))
                        .collect(),
                ),
                blocks: (0..plan.assignments.len())
                    .filter(|&i| {
                        model.operations[i].modes[plan.assignments[i].mode].machine == Some(m)
                    })
                    .map(|i| block(i, false))
                    .collect(),
            })
            .collect();
        let people = (0..model.people.len())
            .map(|m| Row {
                name: model.people[m].name.clone(),
                href: Some("#".into()),
                open: Some(
                    model.people[m]
                        .calendar
                        .windows()
                        .iter()
                        .map(|w| (at(w.0), at(w.1)))
                        .collect(),
                ),
                blocks: (0..plan.assignments.len())
                    .filter(|&i| plan.assignments[i].person == Some(m))
                    .map(|i| block(i, true))
                    .collect(),
            })
            .collect();
        let flags = model
            .jobs
            .iter()
            .enumerate()
            .filter_map(|(i, j)| {
                let at = at(j.due?);
                (at > within.0 && at <= within.1).then(|| Flag {
                    href: "#".into(),
                    label: format!("{}{}", j.name, if i % 9 == 0 { " late 2 d" } else { "" }),
                    words: "w".into(),
                    at,
                    keeping: match i % 9 {
                        0 => Keeping::Late,
                        1 => Keeping::AtRisk,
                        _ => Keeping::Holds,
                    },
                })
            })
            .collect();
        let p = Picture {
            axis: ax,
            zone: chrono_tz::UTC,
            days,
            now: at(10 * 60),
            groups: vec![
                Group {
                    name: "Machines",
                    rows: machines,
                    tab_stops: true,
                },
                Group {
                    name: "People",
                    rows: people,
                    tab_stops: false,
                },
            ],
            flags,
            title: "t".into(),
            desc: "d".into(),
        };
        let html = format!(
            "<!doctype html><link rel=stylesheet href=borewright.css><main><div class=week-sheet>{}</div></main>",
            draw("week", &p).into_string()
        );
        std::fs::write(format!("/tmp/screen-preview/p{days}.html"), html).unwrap();
    }
}
