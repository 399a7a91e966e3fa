//! What goes in and out by the JSON interface beside records and work: tables of readings, photographs, spreadsheets.

use crate::support::requests::{Answered, ask, fields, keyed, read};
use crate::support::site::{TestSite, Visitor, header};
use reqwest::Response;
use rust_decimal::{Decimal, dec};
use serde_json::{Value, json};

fn pair(answered: Answered) -> (u16, Value) {
    (answered.status, answered.body)
}

/// A casting that is on the shelf, whose pattern has so many cylinders.
async fn a_casting(visitor: &Visitor) -> String {
    let castings = read(visitor, "/api/v1/castings?view=free&limit=1")
        .await
        .body;
    castings["castings"][0]["id"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn readings_are_kept_in_the_table_of_their_kind_and_judged() {
    let site = TestSite::demo().await;
    let bench = site.signed_in("machinist").await;
    let casting = a_casting(&bench).await;
    let path = format!("/api/v1/castings/{casting}/measured");
    for kind in [
        "cylinders",
        "main_line",
        "deck",
        "crankshaft",
        "cam_and_lifters",
        "rear_face",
    ] {
        let table = read(&bench, &format!("{path}/blank/{kind}")).await.body;
        assert_eq!(table["kind"], kind, "{table}");
    }
    assert_eq!(
        bench.get(&format!("{path}/blank/teeth")).await.status(),
        404
    );
    let before = read(&bench, &path).await.body.as_array().unwrap().len();
    let mut table = read(&bench, &format!("{path}/blank/cylinders")).await.body;
    let record = |table: &Value| json!({"purpose": "inspection", "instrument": "Bore gauge", "readings": table});
    let (status, refused) = pair(keyed(&bench, &path, "", record(&table)).await);
    assert_eq!(
        (status, &refused["errors"][0]["field"]),
        (422, &json!("readings")),
        "{refused}"
    );
    // A little over the size of its bores.
    let mut direct = site.database.owner().await;
    let smallest: String = sqlx::query_scalar(
        "select s.sizes->'bores'->>'smallest' from casting c join variant v on v.id = c.variant_id
         join pattern_sizes s on s.id = v.pattern_id where c.id = $1",
    )
    .bind(casting.parse::<uuid::Uuid>().unwrap())
    .fetch_one(&mut direct)
    .await
    .unwrap();
    let over = |by: Decimal| (smallest.parse::<Decimal>().unwrap() + by).to_string();
    table["bores"][0]["at"][0] = json!([over(dec!(0.11)), over(dec!(0.14))]);
    let other = |field: &str, value: Value| {
        let mut other = table.clone();
        other[field] = value;
        other
    };
    // What cannot be is complained about as on the page, whatever its digits.
    for (value, wrong) in [
        ("-95", "readings.bore-0-1-0"),
        ("9500", "readings.bore-0-1-0"),
        ("79228162514264337593543950335", "readings.bore-0-1-0"),
    ] {
        let mut odd = table.clone();
        odd["bores"][0]["at"][1] = json!([value, null]);
        let refused = keyed(&bench, &path, "", record(&odd)).await;
        let complaints = fields(&refused.body);
        assert_eq!((refused.status, complaints), (422, [wrong].into()));
    }
    let under = keyed(&bench, &path, "", record(&other("over", json!("-1")))).await;
    let complaints = fields(&under.body);
    assert_eq!((under.status, complaints), (422, ["readings.over"].into()));
    let mut longer = table.clone();
    let another = longer["bores"][0].clone();
    longer["bores"].as_array_mut().unwrap().push(another);
    for odd in [
        longer,
        json!({"kind": "teeth"}),
        json!({"kind": "cylinders", "bores": [{"at": "worn"}]}),
        other("liner", json!("wet")),
    ] {
        let (status, refused) = pair(keyed(&bench, &path, "", record(&odd)).await);
        assert_eq!(
            (status, &refused["errors"][0]["field"]),
            (422, &json!("readings")),
            "{refused}"
        );
    }
    let (status, kept) = pair(keyed(&bench, &path, "bores", record(&table)).await);
    assert_eq!(status, 201, "{kept}");
    assert!(["within", "outside", "open"].contains(&kept["verdict"].as_str().unwrap()));
    assert_eq!(
        pair(keyed(&bench, &path, "bores", record(&table)).await).1["id"],
        kept["id"]
    );
    let all = read(&bench, &path).await.body;
    assert_eq!(all.as_array().unwrap().len(), before + 1);
    let one = read(&bench, &format!("{path}/{}", kept["id"].as_str().unwrap()))
        .await
        .body;
    assert_eq!(
        (&one["readings"], &one["by"]),
        (&table, &json!("Bram Tully"))
    );
}

async fn send_picture(visitor: &Visitor, path: &str, key: &str, bytes: Vec<u8>) -> Response {
    let request = visitor.request("POST", path).header("idempotency-key", key);
    request.body(bytes).send().await.unwrap()
}

#[tokio::test]
async fn a_photograph_goes_in_as_it_is_and_comes_out_as_jpeg() {
    let site = TestSite::demo().await;
    let office = site.signed_in("office").await;
    let path = format!("/api/v1/castings/{}/photos", a_casting(&office).await);
    let before = read(&office, &path).await.body.as_array().unwrap().len();
    let mut png = Vec::new();
    let picture = image::RgbImage::from_fn(64, 48, |x, y| image::Rgb([x as u8, y as u8, 90]));
    picture
        .write_to(&mut std::io::Cursor::new(&mut png), image::ImageFormat::Png)
        .unwrap();
    let add = format!("{path}?caption=Rear%20face");
    let made = send_picture(&office, &add, "rear", png.clone()).await;
    assert_eq!(made.status(), 201);
    let one = header(made.headers(), "location").to_owned();
    let again = send_picture(&office, &add, "rear", png.clone()).await;
    assert_eq!(header(again.headers(), "location"), one);
    assert_eq!(
        read(&office, &path).await.body.as_array().unwrap().len(),
        before + 1
    );
    let shown = office.get(&one).await;
    assert_eq!(header(shown.headers(), "content-type"), "image/jpeg");
    let shown = image::load_from_memory(&shown.bytes().await.unwrap()).unwrap();
    assert_eq!((shown.width(), shown.height()), (64, 48));
    for (path, bytes, status) in [
        (add.clone(), b"no picture".to_vec(), 422),
        (format!("{path}?caption="), png, 422),
        (add, vec![0; 13 * 1024 * 1024], 413),
    ] {
        assert_eq!(
            send_picture(&office, &path, "odd", bytes).await.status(),
            status,
            "{path}"
        );
    }
    assert_eq!(
        office
            .request("DELETE", &one)
            .send()
            .await
            .unwrap()
            .status(),
        204
    );
    assert_eq!(office.get(&one).await.status(), 404);
}

#[tokio::test]
async fn a_table_is_looked_at_taken_in_whole_and_taken_out_again() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let (status, taken) = pair(keyed(&owner, "/api/v1/starting-set", "", json!({})).await);
    assert_eq!(status, 200, "{taken}");
    assert!(
        taken["machines"].as_u64().unwrap() > 3 && taken["standard_times"].as_u64().unwrap() > 20,
        "{taken}"
    );
    let (_, nothing) = pair(keyed(&owner, "/api/v1/starting-set", "", json!({})).await);
    assert_eq!(nothing["machines"], 0);

    let path = "/api/v1/imports/customers";
    let table = json!({"table": "Name\tPhone\nHarbour Marine\t0123\nSlip Yard\t0456\n"});
    let (status, looked) = pair(keyed(&owner, &format!("{path}/preview"), "", table.clone()).await);
    assert_eq!(
        (
            status,
            looked["rows"].as_array().unwrap().len(),
            &looked["import"]
        ),
        (200, 2, &Value::Null),
        "{looked}"
    );
    assert_eq!(read(&owner, path).await.body, Value::Null);
    for (field, odd) in [
        (
            "dates",
            json!({"table": table["table"], "dates": "month-first"}),
        ),
        (
            "column.1",
            json!({"table": table["table"], "column": ["name", "telefone"]}),
        ),
        ("table", json!({"table": "Name\nHarbour\u{0}Marine\n"})),
    ] {
        let refused = keyed(&owner, path, "", odd).await;
        let complaints = fields(&refused.body);
        assert_eq!((refused.status, complaints), (422, [field].into()));
    }
    let took = keyed(&owner, path, "two", table.clone()).await;
    assert_eq!(took.status, 201, "{}", took.body);
    let again = keyed(&owner, path, "two", table.clone()).await;
    assert_eq!((again.status, &again.body), (201, &took.body));
    // They are on record now: nothing of the same table is taken in.
    let (status, known) = pair(keyed(&owner, path, "", table.clone()).await);
    assert_eq!(
        (status, known["errors"].as_array().unwrap().len()),
        (422, 2),
        "{known}"
    );
    let found = read(&owner, "/api/v1/customers?q=harbour").await.body;
    assert_eq!(found["customers"][0]["name"], "Harbour Marine");
    let last = read(&owner, path).await.body;
    assert_eq!(last["id"], took.body["import"]);
    let undo = format!("{path}/{}", last["id"].as_str().unwrap());
    let undone = ask(&owner, "DELETE", &undo, "", Value::Null).await;
    let out = json!({"removed": 2, "stayed": 0});
    assert_eq!((undone.status, &undone.body), (200, &out));
    assert_eq!(
        read(&owner, "/api/v1/customers?q=harbour").await.body["customers"],
        json!([])
    );
    // Castings are told apart by nothing, so a table sent again must be known by its key.
    let castings = json!({"table": "Variant\tCost\nTarn 4/90 marine\t120\n", "dates": "day_first"});
    site.shop.variant("Tarn 4/90 marine").await;
    for _ in 0..2 {
        let took = keyed(&owner, "/api/v1/imports/castings", "one", castings.clone()).await;
        assert_eq!(took.status, 201, "{}", took.body);
    }
    let listed = read(&owner, "/api/v1/castings").await.body;
    assert_eq!(listed["all"], 1);
    assert_eq!(
        pair(keyed(&owner, "/api/v1/imports/planets", "", table.clone()).await).0,
        404
    );
}
