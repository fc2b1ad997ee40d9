//! Pages made from a small lake.

mod checker;
mod fixture;

use std::path::Path;

use digest::{CoachWeek, Units, WeekRequest, gather, page_path, render, table_rows, write};
use fixture::{SITE, WEEK, clubs, effects, lake_with, losses, patterns, plans, players, shown_name, verdicts};

fn request() -> WeekRequest {
    WeekRequest {
        site_name: "North <Range> & Studio".into(),
        site_id: SITE.into(),
        zone: "Europe/Zurich".into(),
        week: WEEK,
        coach: Some("coach-a".into()),
        units: Units::Yards,
        generated_at_micros: i64::from(WEEK + 7) * 86_400_000_000 + 21_600_000_000,
    }
}

fn full_week(folder: &Path, request: &WeekRequest) -> CoachWeek {
    let lake = lake_with(folder, &[players(), clubs(), verdicts(), losses(), patterns(), plans(), effects()]);
    gather(&lake, request, &shown_name).expect("a week")
}

fn temporary() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

#[test]
fn the_page_says_what_it_should() {
    let folder = temporary();
    let page = render(&full_week(folder.path(), &request()));
    // For looking at: the page of this test stays in the target folder.
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("week.html"), &page).expect("a page to look at");
    checker::check(&page);
    // Behind each picture of the strikes stands a row for each mark.
    let strikes =
        page.split_once("Strikes as a table").expect("a table").1.split_once("</details>").expect("its end").0;
    assert_eq!(strikes.matches("<tr>").count(), 1 + 40);
    insta::assert_snapshot!("text_of_the_page", checker::text_of(&page));
}

#[test]
fn nobody_shows_who_must_not() {
    let folder = temporary();
    let week = full_week(folder.path(), &request());
    let page = render(&week);
    for hidden in ["Elm", "p-elm", "Fern", "p-fern", "coach-b"] {
        assert!(!page.contains(hidden), "{hidden} shows");
        assert!(!format!("{week:?}").contains(hidden), "{hidden} was gathered");
    }
    for shown in ["Ash", "Birch", "Cedar", "Dune"] {
        assert!(page.contains(shown), "{shown} is missing");
    }
    assert!(!page.contains("p-ash"), "aliases are not for readers");

    let other = WeekRequest { coach: Some("coach-b".into()), ..request() };
    let folder = temporary();
    let page = render(&full_week(folder.path(), &other));
    assert!(page.contains("Fern") && !page.contains("Ash") && !page.contains("Elm"));

    let everybody = WeekRequest { coach: None, ..request() };
    let folder = temporary();
    let page = render(&full_week(folder.path(), &everybody));
    assert!(page.contains("Fern") && page.contains("Ash") && !page.contains("Elm"));
}

#[test]
fn another_site_has_nobody_here() {
    let folder = temporary();
    let week = full_week(folder.path(), &WeekRequest { site_id: "south".into(), ..request() });
    assert_eq!(week.players, []);
}

#[test]
fn few_shots_say_so_instead_of_a_number() {
    let folder = temporary();
    let week = full_week(folder.path(), &request());
    let page = render(&week);
    let cedar = page.split_once("Cedar <span").expect("a section").1;
    assert!(cedar.contains("Too few shots for a number: the strike could be judged for 3 shots"), "{cedar}");
    assert!(cedar.contains("<h4>Not enough shots</h4>"));
    let line = table_rows(&week).into_iter().find(|line| line.player == "Cedar").expect("a line");
    assert_eq!((line.shots, line.carry_lost.as_str()), (3, "too few shots"));
}

#[test]
fn an_empty_lake_and_an_empty_week_still_give_a_page() {
    let folder = temporary();
    let lake = lake_with(folder.path(), &[]);
    let week = gather(&lake, &request(), &shown_name).expect("a week");
    let page = render(&week);
    checker::check(&page);
    assert!(page.contains("No shot of this week has been analysed"));
    assert!(page.contains(
        "Not published yet, therefore empty here: players, shot_verdicts, carry_loss, strike_pattern, practice_plan"
    ));

    let folder = temporary();
    let earlier = WeekRequest { week: WEEK - 70, ..request() };
    let page = render(&full_week(folder.path(), &earlier));
    checker::check(&page);
    assert!(page.contains("No shot of this week has been analysed"));
    assert!(page.contains("Dune"), "players without shots stand in the overview");
}

#[test]
fn without_weekly_figures_the_counts_come_from_the_shots() {
    let folder = temporary();
    let lake = lake_with(folder.path(), &[players(), verdicts()]);
    let from_shots = gather(&lake, &request(), &shown_name).expect("a week");
    assert_eq!(from_shots.missing_datasets, ["carry_loss", "strike_pattern", "practice_plan"]);
    checker::check(&render(&from_shots));
    let folder = temporary();
    let from_figures = full_week(folder.path(), &request());
    // The fixture counts its own rows in another way; both must agree.
    assert_eq!(from_shots.players[0].clubs[0].tally, from_figures.players[0].clubs[0].tally);
}

#[test]
fn any_day_stands_for_its_week_and_later_weeks_stay_out() {
    let folder = temporary();
    let week = full_week(folder.path(), &WeekRequest { week: WEEK + 3, ..request() });
    assert_eq!(week.week, WEEK);
    let trend = &week.players[0].clubs[0].trend;
    assert_eq!(trend.iter().map(|point| (WEEK - point.week) / 7).collect::<Vec<_>>(), [5, 4, 2, 1, 0]);
    assert!(!render(&week).contains("partial swing"), "shots that do not count show nowhere");
}

#[test]
fn yards_are_metres_over_0_9144() {
    let folder = temporary();
    let yards = render(&full_week(folder.path(), &request()));
    let folder = temporary();
    let metres = render(&full_week(folder.path(), &WeekRequest { units: Units::Metres, ..request() }));
    // 3.8 m = 4.156 yd, 2.9 m = 3.171 yd, 4.9 m = 5.359 yd [source: NIST SP 811, computed by hand]
    assert!(yards.contains("cost 4.2\u{a0}yd of carry per driver shot; the data put it between 3.2 and 5.4\u{a0}yd"));
    assert!(metres.contains("cost 3.8\u{a0}m of carry per driver shot; the data put it between 2.9 and 4.9\u{a0}m"));
}

#[test]
fn a_page_is_written_under_its_week_and_replaced() {
    let folder = temporary();
    let week = full_week(folder.path(), &request());
    let digests = folder.path().join("digests");
    let path = write(&files::Files::new(), &digests, &week).expect("written");
    assert_eq!(path, digests.join("2026-W47").join("coach-a.html"));
    assert_eq!(path, page_path(&digests, &week).expect("a path"));
    assert_eq!(std::fs::read_to_string(&path).expect("a page"), render(&week));
    write(&files::Files::new(), &digests, &week).expect("written again");
    assert_eq!(std::fs::read_dir(digests.join("2026-W47")).expect("a folder").count(), 1);
}

#[test]
fn an_unknown_zone_is_named_with_a_hint() {
    let folder = temporary();
    let lake = lake_with(folder.path(), &[]);
    let wrong = WeekRequest { zone: "Central".into(), ..request() };
    let message = gather(&lake, &wrong, &shown_name).expect_err("no such zone").to_string();
    assert!(message.contains("\"Central\"") && message.contains("\nhint: "), "{message}");
}
