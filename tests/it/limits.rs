//! What one caller may take of the service: time, connections, memory; and what a request may say of itself.

use crate::stays_up::Running;
use crate::support::site::{PASSWORD, TestSite, Visitor, header};
use crate::support::{TestShop, private_directory};
use borewright::db::castings_on_shelf::{self, CastingDetails};
use borewright::db::cluster::ServerSocket;
use borewright::db::{migrate, shops};
use borewright::stock::Ownership;
use borewright::units::{Currency, Money};
use borewright::web::server::Config;
use flate2::Crc;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

fn connect(site: &TestSite) -> TcpStream {
    let stream = TcpStream::connect(site.address.trim_start_matches("http://")).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    stream
}

fn answer(stream: &mut TcpStream) -> String {
    let mut all = String::new();
    let _ = stream.read_to_string(&mut all);
    all
}

#[tokio::test]
async fn a_body_that_drips_is_cut_off() {
    let site = TestSite::with(Config {
        body_time: Duration::from_secs(1),
        ..Config::default()
    })
    .await;
    let mut slow = connect(&site);
    let kind = "application/x-www-form-urlencoded";
    write!(slow, "POST /sign-in HTTP/1.1\r\nhost: a\r\ncontent-type: {kind}\r\ncontent-length: 900\r\n\r\nsign_in=edda&").unwrap();
    let since = Instant::now();
    let said = tokio::task::spawn_blocking(move || answer(&mut slow))
        .await
        .unwrap();
    assert!(
        since.elapsed() < Duration::from_secs(8),
        "{:?}",
        since.elapsed()
    );
    assert!(said.starts_with("HTTP/1.1 408"), "{said}");
    assert!(said.contains("too slow"), "{said}");
    assert!(
        said.contains("edda"),
        "what was typed is given back: {said}"
    );
}

#[tokio::test]
async fn connections_have_a_cap_and_the_next_is_taken_when_one_is_free() {
    let site = TestSite::with(Config {
        connections: 4,
        workers: 2,
        ..Config::default()
    })
    .await;
    let held: Vec<TcpStream> = (0..6).map(|_| connect(&site)).collect();
    tokio::time::sleep(Duration::from_millis(300)).await;
    let address = site.address.clone();
    let waits =
        tokio::spawn(async move { Visitor::at(&address).get("/health/live").await.status() });
    tokio::time::sleep(Duration::from_millis(700)).await;
    assert!(
        !waits.is_finished(),
        "more connections were taken than there may be"
    );
    drop(held);
    assert_eq!(waits.await.unwrap(), 200);
}

#[tokio::test]
async fn head_is_answered_as_get_without_a_body() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    for path in ["/sign-in", "/health/live", "/stock", "/shop/people"] {
        let get = owner.request("GET", path).send().await.unwrap();
        let head = owner.request("HEAD", path).send().await.unwrap();
        assert_eq!(head.status(), get.status(), "{path}");
        assert_eq!(
            header(head.headers(), "content-type"),
            header(get.headers(), "content-type"),
            "{path}"
        );
        assert_eq!(head.text().await.unwrap(), "", "{path}");
    }
    let mut raw = connect(&site);
    write!(
        raw,
        "HEAD /health/live HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n"
    )
    .unwrap();
    let said = tokio::task::spawn_blocking(move || answer(&mut raw))
        .await
        .unwrap();
    assert!(said.starts_with("HTTP/1.1 200"), "{said}");
    assert!(said.contains("content-length: 15"), "{said}");
    assert!(said.ends_with("\r\n\r\n"), "{said}");
}

/// Tries a wrong password, saying to come from an address.
async fn tried_from(site: &TestSite, address: &str) -> u16 {
    let answer = site
        .stranger()
        .request("POST", "/sign-in")
        .header("x-forwarded-for", address)
        .header("content-type", "application/x-www-form-urlencoded")
        .body("sign_in=edda&password=wrong")
        .send()
        .await
        .unwrap();
    answer.status().as_u16()
}

#[tokio::test]
async fn a_forwarded_address_is_believed_of_named_proxies_alone() {
    let site = TestSite::new().await;
    let mut came = Vec::new();
    for n in 0..4 {
        came.push(tried_from(&site, &format!("198.51.100.{n}")).await);
    }
    assert_eq!(
        came,
        [401, 401, 401, 429],
        "nobody changes address by saying so"
    );

    let site = TestSite::with(Config {
        proxies: vec!["127.0.0.0/8".parse().unwrap()],
        ..Config::default()
    })
    .await;
    let mut came = Vec::new();
    for n in 0..4 {
        came.push(tried_from(&site, &format!("203.0.113.9, 198.51.100.{n}")).await);
    }
    assert_eq!(came, [401; 4]);
    for _ in 0..3 {
        tried_from(&site, "198.51.100.77").await;
    }
    assert_eq!(tried_from(&site, "203.0.113.1, 198.51.100.77").await, 429);
}

#[tokio::test]
async fn what_was_typed_into_a_form_that_is_too_large_is_given_back() {
    let site = TestSite::new().await;
    let owner = site.owner().await;
    let long = "x".repeat(300 * 1024);
    let typed = [
        ("name", "Thrust washers, oversize"),
        ("unit", "pair"),
        ("note", &long),
    ];
    let refused = owner.post("/stock/items/new", &typed).await;
    assert_eq!(refused.status(), 413);
    let page = refused.text().await.unwrap();
    assert!(page.contains("Thrust washers, oversize"), "{page}");
    assert!(page.len() < 20_000, "{}", page.len());
}

/// A PNG picture of one grey, 12,000 by 11,600 pixels in under a megabyte: deflate by hand, matches of 258 zeros in 13 bits
/// each (RFC 1951, 3.2.6; RFC 2083).
fn bomb() -> Vec<u8> {
    const WIDTH: u32 = 12_000;
    const HEIGHT: u32 = 11_600;
    let raw = u64::from(HEIGHT) * (u64::from(WIDTH) + 1);
    let (mut bits, mut count, mut deflated) = (0_u64, 0, vec![0x78, 0x01]);
    let mut put = |value: u64, length: u32| {
        bits |= value << count;
        count += length;
        while count >= 8 {
            deflated.push((bits & 0xff) as u8);
            bits >>= 8;
            count -= 8;
        }
    };
    // Codes are written from their highest bit.
    let code = |value: u64, length: u32| value.reverse_bits() >> (64 - length);
    put(0b011, 3);
    let literal = code(0b0011_0000, 8);
    let mut left = raw;
    put(literal, 8);
    left -= 1;
    while left >= 258 {
        put(code(0b1100_0101, 8), 8);
        put(0, 5);
        left -= 258;
    }
    for _ in 0..left {
        put(literal, 8);
    }
    put(0, 7);
    put(0, 7);
    let adler = (u32::try_from(raw % 65_521).unwrap() << 16) | 1;
    deflated.extend(adler.to_be_bytes());
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |kind: &[u8], body: &[u8]| {
        png.extend(u32::try_from(body.len()).unwrap().to_be_bytes());
        png.extend(kind);
        png.extend(body);
        let mut crc = Crc::new();
        crc.update(kind);
        crc.update(body);
        png.extend(crc.sum().to_be_bytes());
    };
    let mut head = Vec::new();
    head.extend(WIDTH.to_be_bytes());
    head.extend(HEIGHT.to_be_bytes());
    head.extend([8, 0, 0, 0, 0]);
    chunk(b"IHDR", &head);
    chunk(b"IDAT", &deflated);
    chunk(b"IEND", &[]);
    png
}

async fn send_photo(owner: &Visitor, casting: &str, file: &[u8]) -> (u16, String) {
    let mut body = format!(
        "--mark\r\ncontent-disposition: form-data; name=\"csrf\"\r\n\r\n{}\r\n--mark\r\n\
         content-disposition: form-data; name=\"caption\"\r\n\r\nDeck face\r\n--mark\r\n\
         content-disposition: form-data; name=\"photo\"; filename=\"a\"\r\n\r\n",
        owner.csrf
    )
    .into_bytes();
    body.extend(file);
    body.extend(b"\r\n--mark--\r\n");
    let answer = owner
        .request("POST", &format!("/castings/shelf/{casting}/photos"))
        .header("content-type", "multipart/form-data; boundary=mark")
        .body(body)
        .send()
        .await
        .unwrap();
    (answer.status().as_u16(), answer.text().await.unwrap())
}

/// The most memory a process has had resident, in megabytes (proc(5), VmHWM).
fn most_resident(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .unwrap();
    line.split_whitespace()
        .nth(1)
        .unwrap()
        .parse::<u64>()
        .unwrap()
        / 1024
}

#[tokio::test]
async fn photographs_and_passwords_stay_within_a_fixed_budget_of_memory() {
    let (_keep, data) = private_directory();
    let running = Running::start(&data).await;
    let socket = ServerSocket::of_running(&data).unwrap();
    let pool = migrate::service_pool(socket.service_options("borewright"), 2)
        .await
        .unwrap();
    let shop = TestShop::at(&pool, shops::find(&pool, "quay").await.unwrap().unwrap());
    let details = CastingDetails {
        variant_id: shop.variant("Tarn 4/90 farm").await,
        ownership: Ownership::Shop,
        cost: Money::new(100.into(), Currency::from_code("GBP").unwrap()),
        condition: String::new(),
    };
    let mut tx = shop.begin().await;
    let (casting, _) = castings_on_shelf::create(&mut tx, &details).await.unwrap();
    tx.commit().await.unwrap();
    pool.close().await;

    let process = running.child.id();
    let before = most_resident(process);
    let (bomb, casting) = (bomb(), casting.to_string());
    assert!(bomb.len() < 1024 * 1024, "{}", bomb.len());
    let sent = (0..12).map(|_| send_photo(&running.owner, &casting, &bomb));
    for (status, page) in futures_util::future::join_all(sent).await {
        assert_eq!(status, 422);
        assert!(page.contains("more than 50 million pixels"), "{page}");
    }
    let after = most_resident(process);
    assert!(
        after < before + 60,
        "{before} MB before twelve pictures, {after} MB after"
    );

    // Forty people at once type a wrong password.
    let strangers = (0..40).map(|n| {
        let address = running.owner.address.clone();
        async move {
            let stranger = Visitor::at(&address);
            stranger
                .try_sign_in(&format!("nobody{n}"), PASSWORD)
                .await
                .status()
                .as_u16()
        }
    });
    let came = futures_util::future::join_all(strangers).await;
    assert!(
        came.iter().all(|status| [401, 429, 503].contains(status)),
        "{came:?}"
    );
    let after = most_resident(process);
    assert!(
        after < before + 110,
        "{before} MB before, {after} MB after forty sign-ins"
    );
    running.stop();
}
