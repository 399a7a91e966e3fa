//! What goes in and out by the JSON interface beside records and work: tables of readings, photographs, spreadsheets.

use crate::support::site::{TestSite, Visitor, header};
use reqwest::Response;
use serde_json::{Value, json};

async fn post(visitor: &Visitor, path: &str, key: &str, body: &Value) -> (u16, Value) {
    let mut request = visitor.request("POST", path).json(body);
    if !key.is_empty() {
        request = request.header("idempotency-key", key);
    }
    let answer = request.send().await.unwrap();
    let status = answer.status().as_u16();
    (status, answer.json().await.unwrap_or_default())
}

async fn read(visitor: &Visitor, path: &str) -> Value {
    let answer = visitor.get(path).await;
    assert_eq!(answer.status(), 200, "{path}");
    answer.json().await.unwrap()
}

/// A casting that is on the shelf, whose pattern has so many cylinders.
async fn a_casting(visitor: &Visitor) -> String {
    let castings = read(visitor, "/api/v1/castings?view=free&limit=1").await;
    castings["castings"][0]["id"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn readings_are_kept_in_the_table_of_their_kind_and_judged() {
    let site = TestSite::demo().await;
    let bench = site.signed_in("machinist").await;
    let path = format!("/api/v1/castings/{}/measured", a_casting(&bench).await);
    for kind in [
        "cylinders",
        "main_line",
        "deck",
        "crankshaft",
        "cam_and_lifters",
        "rear_face",
    ] {
        let table = read(&bench, &format!("{path}/blank/{kind}")).await;
        assert_eq!(table["kind"], kind, "{table}");
    }
    assert_eq!(
        bench.get(&format!("{path}/blank/teeth")).await.status(),
        404
    );
    let before = read(&bench, &path).await.as_array().unwrap().len();
    let mut table = read(&bench, &format!("{path}/blank/cylinders")).await;
    let record = |table: &Value| json!({"purpose": "inspection", "instrument": "Bore gauge", "readings": table});
    let (status, refused) = post(&bench, &path, "", &record(&table)).await;
    assert_eq!(
        (status, &refused["errors"][0]["field"]),
        (422, &json!("readings")),
        "{refused}"
    );
    table["bores"][0]["at"][0] = json!(["101.32", "101.35"]);
    let mut longer = table.clone();
    let another = longer["bores"][0].clone();
    longer["bores"].as_array_mut().unwrap().push(another);
    for odd in [
        longer,
        json!({"kind": "teeth"}),
        json!({"kind": "cylinders", "bores": [{"at": "worn"}]}),
    ] {
        let (status, refused) = post(&bench, &path, "", &record(&odd)).await;
        assert_eq!(
            (status, &refused["errors"][0]["field"]),
            (422, &json!("readings")),
            "{refused}"
        );
    }
    let (status, kept) = post(&bench, &path, "bores", &record(&table)).await;
    assert_eq!(status, 201, "{kept}");
    assert!(["within", "outside", "open"].contains(&kept["verdict"].as_str().unwrap()));
    assert_eq!(
        post(&bench, &path, "bores", &record(&table)).await.1["id"],
        kept["id"]
    );
    let all = read(&bench, &path).await;
    assert_eq!(all.as_array().unwrap().len(), before + 1);
    let one = read(&bench, &format!("{path}/{}", kept["id"].as_str().unwrap())).await;
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
    let before = read(&office, &path).await.as_array().unwrap().len();
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
        read(&office, &path).await.as_array().unwrap().len(),
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
    let (status, taken) = post(&owner, "/api/v1/starting-set", "", &json!({})).await;
    assert_eq!(status, 200, "{taken}");
    assert!(
        taken["machines"].as_u64().unwrap() > 3 && taken["standard_times"].as_u64().unwrap() > 20,
        "{taken}"
    );
    let (_, nothing) = post(&owner, "/api/v1/starting-set", "", &json!({})).await;
    assert_eq!(nothing["machines"], 0);

    let path = "/api/v1/imports/customers";
    let table = json!({"table": "Name\tPhone\nHarbour Marine\t0123\nSlip Yard\t0456\n"});
    let (status, looked) = post(&owner, &format!("{path}/preview"), "", &table).await;
    assert_eq!(
        (
            status,
            looked["rows"].as_array().unwrap().len(),
            &looked["taken"]
        ),
        (200, 2, &json!(false)),
        "{looked}"
    );
    assert_eq!(read(&owner, path).await, Value::Null);
    let (status, took) = post(&owner, path, "", &table).await;
    assert_eq!((status, &took["taken"]), (201, &json!(true)), "{took}");
    // They are on record now: nothing of the same table is taken in.
    let (status, known) = post(&owner, path, "", &table).await;
    assert_eq!(
        (status, known["errors"].as_array().unwrap().len()),
        (422, 2),
        "{known}"
    );
    let found = read(&owner, "/api/v1/customers?q=harbour").await;
    assert_eq!(found["customers"][0]["name"], "Harbour Marine");
    let last = read(&owner, path).await;
    let undo = format!("{path}/{}", last["id"].as_str().unwrap());
    assert_eq!(
        owner
            .request("DELETE", &undo)
            .send()
            .await
            .unwrap()
            .status(),
        204
    );
    assert_eq!(
        read(&owner, "/api/v1/customers?q=harbour").await["customers"],
        json!([])
    );
    assert_eq!(
        post(&owner, "/api/v1/imports/planets", "", &table).await.0,
        404
    );
}
