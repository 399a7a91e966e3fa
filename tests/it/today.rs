//! The first page after signing in: what each role sees, that no link of it leads to a closed door, and the steps of a new shop.

use crate::support::browser::{Browser, Screen};
use crate::support::crawl::every_page;
use crate::support::site::{TestSite, between, header};
use borewright::app::shared_plans::SharedPlans;
use borewright::app::today::office_day;
use borewright::app::{Actor, week};
use borewright::db::calendars::{self, Owner, Stop};
use borewright::db::castings_on_shelf::{self as shelf, CastingDetails, Ownership};
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::people::{self, Role};
use borewright::db::{machines, today};
use borewright::units::{Currency, Money};
use chrono::{Days, TimeDelta, Utc};
use uuid::Uuid;

async fn text(response: reqwest::Response) -> (u16, String) {
    (response.status().as_u16(), response.text().await.unwrap())
}

#[tokio::test]
async fn the_office_sees_what_waits_for_it() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let mut tx = site.shop.begin().await;
    let said = EnquiryDetails {
        caller: "Asa Pemberly".to_owned(),
        ..EnquiryDetails::default()
    };
    let (call, _) = enquiries::create(&mut tx, &said).await.unwrap();
    let people = people::list(&mut tx).await.unwrap();
    let col = people.iter().find(|p| p.role == Role::Machinist).unwrap();
    let stop = Stop {
        id: Uuid::now_v7(),
        owner: Owner::Person(col.id),
        starts_at: Utc::now() + TimeDelta::days(2),
        ends_at: Utc::now() + TimeDelta::days(3),
        why: "hospital appointment".to_owned(),
        version: 1,
    };
    calendars::insert_stop(&mut tx, &stop).await.unwrap();
    tx.commit().await.unwrap();
    let (status, page) = text(office.get("/").await).await;
    assert_eq!(status, 200);
    for words in [
        "Calls to answer",
        "Late or at risk",
        "Needs attention",
        "Quotes to follow up",
        "Ready to collect",
        "hospital appointment",
        "Came in since",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let late = between(&page, "<h2>Late or at risk</h2>", "</section>");
    assert!(late.contains("Mostly "), "no reason: {late}");
    let mut tx = site.shop.begin().await;
    let (calls, in_all) = today::calls(&mut tx, 1000).await.unwrap();
    assert_eq!(i64::try_from(calls.len()).unwrap(), in_all);
    assert!(
        calls
            .iter()
            .any(|c| c.id == call && c.caller == "Asa Pemberly")
    );
}

#[tokio::test]
async fn what_came_in_and_what_is_to_be_followed_up_is_counted_from_its_day() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    let variant = borewright::db::castings::variant_names(&mut tx)
        .await
        .unwrap()[0]
        .id;
    let details = CastingDetails {
        variant_id: variant,
        ownership: Ownership::Shop,
        cost: Money::zero(Currency::from_code("GBP").unwrap()),
        condition: String::new(),
    };
    let later = Utc::now();
    let (id, _) = shelf::create(&mut tx, &details).await.unwrap();
    let came = today::came_in(&mut tx, later, 50).await.unwrap();
    assert_eq!(came.iter().map(|c| c.id).collect::<Vec<_>>(), [id]);
    let came = today::came_in(&mut tx, Utc::now() + TimeDelta::seconds(5), 50)
        .await
        .unwrap();
    assert!(came.is_empty());
    tx.commit().await.unwrap();
    // Two of the past quotes are open and no others, by a hand that the freeze does not bind.
    let mut owner = site.database.owner().await;
    sqlx::raw_sql(
        "set session_replication_role = replica;
         update quote set state = 'lapsed', decided_at = now() where state = 'sent';
         update quote set state = 'sent', decided_at = null, lost_why = null, valid_until = current_date + 2
         where number in (select number from quote order by number desc limit 2);
         update quote set valid_until = current_date + 20 where number = (select max(number) from quote);",
    )
    .execute(&mut owner)
    .await
    .unwrap();
    let mut tx = site.shop.begin().await;
    let day = Utc::now().date_naive();
    let old = Utc::now() - TimeDelta::days(3650);
    let (soon, in_all) = today::quotes(&mut tx, old, day + Days::new(5), 9)
        .await
        .unwrap();
    assert_eq!((soon.len(), in_all), (1, 1), "what runs out soon");
    let (all, _) = today::quotes(&mut tx, Utc::now(), day, 9).await.unwrap();
    assert_eq!(all.len(), 2, "what was given a while ago");
    assert_eq!(
        today::quotes(&mut tx, old, day, 9).await.unwrap().0.len(),
        0
    );
    assert!(all.windows(2).all(|w| w[0].valid_until <= w[1].valid_until));
}

#[tokio::test]
async fn a_machinist_sees_their_work_and_no_link_leads_to_a_closed_door() {
    let site = TestSite::demo().await;
    let machinist = site.signed_in("machinist").await;
    let reached = every_page(&machinist, &["/"], 2).await;
    assert!(reached.len() > 15, "only {} pages", reached.len());
    let closed: Vec<String> = reached
        .iter()
        .filter(|page| page.status == 403)
        .map(|page| format!("{} from {}", page.path, page.from))
        .collect();
    assert_eq!(closed, [""; 0]);
    let (_, page) = text(machinist.get("/").await).await;
    assert!(
        page.contains("Nothing is planned for you") && page.contains("Sign on with your PIN"),
        "{page}"
    );
    assert!(!page.contains("Set up the shop"));
    assert_eq!(machinist.get("/enquiries").await.status(), 403);
}

#[tokio::test]
async fn a_new_shop_is_led_to_what_it_lacks_until_it_has_it() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let (_, page) = text(owner.get("/").await).await;
    let steps = between(&page, "Set up the shop", "</section>").to_owned();
    for words in [
        "Before the first quote",
        "Before the first plan",
        "Before the first clock-in",
        "Add a labour rate",
    ] {
        assert!(steps.contains(words), "{words}: {steps}");
    }
    // Overhead, margin and tax are set in this shop.
    assert_eq!(steps.matches("✓ Done").count(), 2, "{steps}");
    for path in steps
        .split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
    {
        assert_eq!(owner.get(path).await.status(), 200, "{path}");
    }
    // The starting set fills what is missing, once, and work can be quoted with it.
    assert_eq!(owner.post("/shop/starting-set", &[]).await.status(), 303);
    let set_up = async || {
        let mut tx = site.shop.begin().await;
        let machines = machines::machines(&mut tx).await.unwrap().len();
        (today::set_up(&mut tx).await.unwrap(), machines)
    };
    let (set, machines) = set_up().await;
    assert!(set.machine && set.labour_rate && set.standard_time && set.hours && machines > 5);
    assert_eq!(owner.post("/shop/starting-set", &[]).await.status(), 303);
    assert_eq!(set_up().await.1, machines, "what is there stays");
    let call = owner.post("/enquiries/quick", &[]).await;
    let path = header(call.headers(), "location").to_owned();
    let work = [
        ("caller", "Asa Pemberly"),
        ("work", "CRANK-GRIND"),
        ("count", "1"),
        ("mains", "5"),
        ("version", "1"),
    ];
    assert_eq!(owner.post(&path, &work).await.status(), 303);
    let (_, page) = text(owner.get(&path).await).await;
    assert!(page.contains("Quote this option"), "no price: {page}");
    site.shop.variant("Alone").await;
    let mut tx = site.shop.begin().await;
    assert!(
        !today::set_up(&mut tx).await.unwrap().variants,
        "one variant converts into nothing"
    );
    let demo = TestSite::demo().await;
    let owner = demo.signed_in("owner").await;
    let (_, page) = text(owner.get("/").await).await;
    assert!(
        !page.contains("Before the first quote") && !page.contains("Before the first plan"),
        "{page}"
    );
}

#[tokio::test]
async fn the_first_page_at_every_width() {
    let site = TestSite::demo().await;
    let empty = TestSite::new().await;
    for screen in [Screen::Desktop, Screen::Tablet, Screen::Phone] {
        for (site, who, name) in [
            (&site, "office", "today"),
            (&site, "machinist", "today-machinist"),
            (&empty, "edda", "today-new"),
        ] {
            let browser = Browser::signed_in(site, screen, who).await;
            browser.goto("/").await;
            browser.picture(name).await;
            browser.close().await;
        }
    }
}

#[tokio::test]
async fn what_puts_jobs_off_is_tried_once_for_today_and_the_week() {
    let site = TestSite::demo().await;
    let mut tx = site.shop.begin().await;
    // Every job is washed, and there is one tank. Whether a late job waits for somebody who is away hangs on the day.
    let machines = machines::machines(&mut tx).await.unwrap();
    let tank = machines.iter().find(|m| m.kind == "wash tank").unwrap();
    let mut stop = Stop {
        id: Uuid::now_v7(),
        owner: Owner::Machine(tank.id),
        starts_at: Utc::now() + TimeDelta::hours(1),
        ends_at: Utc::now() + TimeDelta::days(9),
        why: "new heaters".to_owned(),
        version: 1,
    };
    calendars::insert_stop(&mut tx, &stop).await.unwrap();
    tx.commit().await.unwrap();
    let plans = SharedPlans::default();
    let actor = Actor::program(site.database.pool.clone(), site.shop.id);
    let now = Utc::now();
    let risks = week::risks(&actor, &plans, None, now).await.unwrap();
    assert!(!risks.explained.is_empty());
    assert_eq!(plans.tried(), 1);
    let late = async || {
        let day = office_day(&actor, &plans, now.date_naive(), now).await;
        day.unwrap().late
    };
    let today = late().await;
    assert_eq!(plans.tried(), 1, "it was known already");
    assert!(today.len() >= risks.explained.len());
    let away: usize = today.iter().map(|job| job.absences.len()).sum();
    assert!(away > 0, "nine days without a tank put nothing off");
    for (one, other) in today.iter().zip(&risks.explained) {
        assert_eq!((one.job, &one.absences), (other.job, &other.absences));
    }
    // Another floor, other reasons.
    stop.id = Uuid::now_v7();
    stop.starts_at = Utc::now() + TimeDelta::days(20);
    stop.ends_at = Utc::now() + TimeDelta::days(21);
    let mut tx = site.shop.begin().await;
    calendars::insert_stop(&mut tx, &stop).await.unwrap();
    tx.commit().await.unwrap();
    late().await;
    assert_eq!(plans.tried(), 2);
}
