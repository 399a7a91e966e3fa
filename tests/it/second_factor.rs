//! An owner's second factor over HTTP: set up, asked for, taken once, helped with recovery codes, turned off.

use crate::support::site::{PASSWORD, TestSite, Visitor, between, header};
use borewright::db::people::Role;
use chrono::Utc;
use hmac::{Hmac, KeyInit, Mac};
use sha1::Sha1;
use sqlx::query;

/// What a telephone shows: RFC 6238 with six digits, from the key as it stands on the page (RFC 4648, base 32).
fn shown(key: &str, steps_from_now: i64) -> String {
    let (mut bits, mut count, mut secret) = (0_u32, 0, Vec::new());
    for letter in key.chars() {
        let value = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567".find(letter).unwrap();
        bits = bits << 5 | u32::try_from(value).unwrap();
        count += 5;
        if count >= 8 {
            count -= 8;
            secret.push((bits >> count & 0xff) as u8);
            bits &= (1 << count) - 1;
        }
    }
    let step = Utc::now().timestamp() / 30 + steps_from_now;
    let mut mac = Hmac::<Sha1>::new_from_slice(&secret).unwrap();
    mac.update(&step.to_be_bytes());
    let digest = mac.finalize().into_bytes();
    let at = usize::from(digest[19] & 0xf);
    let word: [u8; 4] = digest[at..at + 4].try_into().unwrap();
    format!(
        "{:06}",
        (u32::from_be_bytes(word) & 0x7fff_ffff) % 1_000_000
    )
}

/// The key, the code it was set up with, and recovery codes.
async fn set_up(owner: &Visitor) -> (String, String, Vec<String>) {
    let begun = owner.post("/second-factor/begin", &[]).await;
    assert_eq!(header(begun.headers(), "location"), "/second-factor");
    let page = owner.get("/second-factor").await.text().await.unwrap();
    let key = between(&page, "Key: <code>", "</code>").to_owned();
    assert_eq!(key.len(), 32, "160 bits (RFC 4226, 4, R6)");
    assert!(page.contains("<svg"), "{page}");
    let wrong = owner
        .post("/second-factor/confirm", &[("one_time_code", "12345")])
        .await;
    assert_eq!(wrong.status(), 422);
    let right = shown(&key, -1);
    let on = owner
        .post("/second-factor/confirm", &[("one_time_code", &right)])
        .await;
    assert_eq!(on.status(), 200);
    let page = on.text().await.unwrap();
    let codes: Vec<String> = page
        .split("<li><code>")
        .skip(1)
        .filter_map(|rest| rest.split('<').next().map(str::to_owned))
        .collect();
    assert_eq!(codes.len(), 10, "{page}");
    (key, right, codes)
}

/// A new browser after the password, which is asked for a code.
async fn at_the_code(site: &TestSite) -> Visitor {
    let visitor = site.stranger();
    let answer = visitor.try_sign_in("edda", PASSWORD).await;
    assert_eq!(answer.status(), 303);
    assert_eq!(
        header(answer.headers(), "location"),
        "/sign-in/code?next=%2F"
    );
    // The password alone opens nothing.
    let page = visitor.get("/jobs").await;
    assert_eq!(header(page.headers(), "location"), "/sign-in?next=%2Fjobs");
    visitor
}

async fn enter(visitor: &Visitor, code: &str) -> u16 {
    let fields = [("one_time_code", code), ("next", "/jobs")];
    visitor
        .post_bare("/sign-in/code", &fields)
        .await
        .status()
        .as_u16()
}

async fn forget_failures(site: &TestSite) {
    query("delete from sign_in_failure")
        .execute(&mut site.database.owner().await)
        .await
        .unwrap();
}

#[tokio::test]
async fn a_code_is_asked_for_after_the_password_and_taken_once() {
    let site = TestSite::new().await;
    site.person("Ines Okell", "ines", Role::Office).await;
    let ines = site.signed_in("ines").await;
    assert_eq!(ines.get("/second-factor").await.status(), 403);
    assert_eq!(ines.post("/second-factor/begin", &[]).await.status(), 403);
    let owner = site.owner().await;
    let (key, spent, codes) = set_up(&owner).await;

    let one = at_the_code(&site).await;
    assert_eq!(enter(&one, "000000").await, 401);
    // The code it was set up with is spent.
    assert_eq!(enter(&one, &spent).await, 401);
    let now = shown(&key, 0);
    assert_eq!(enter(&one, &now).await, 303);
    assert_eq!(one.get("/jobs").await.status(), 200);
    forget_failures(&site).await;

    // Somebody who has seen the code cannot use it again, and after three tries has to wait.
    let other = at_the_code(&site).await;
    for _ in 0..3 {
        assert_eq!(enter(&other, &now).await, 401);
    }
    assert_eq!(enter(&other, &shown(&key, 1)).await, 429);
    forget_failures(&site).await;

    // A recovery code, once, however it is typed.
    assert_eq!(
        enter(&other, &codes[3].to_lowercase().replace('-', " ")).await,
        303
    );
    assert_eq!(other.get("/jobs").await.status(), 200);
    let third = at_the_code(&site).await;
    assert_eq!(enter(&third, &codes[3]).await, 401);
    let page = owner.get("/second-factor").await.text().await.unwrap();
    assert!(page.contains("9 recovery codes"), "{page}");
    // Without the step before there is nothing to finish.
    assert_eq!(enter(&site.stranger(), &codes[4]).await, 303);
    let late = site.stranger().get("/jobs").await;
    assert_eq!(late.status(), 303);

    // Off again, for who knows the password.
    assert_eq!(
        owner
            .post("/second-factor/off", &[("current", "wrong")])
            .await
            .status(),
        422
    );
    assert_eq!(
        owner
            .post("/second-factor/off", &[("current", PASSWORD)])
            .await
            .status(),
        303
    );
    let again = site.stranger().try_sign_in("edda", PASSWORD).await;
    assert_eq!(header(again.headers(), "location"), "/");
}

#[tokio::test]
async fn another_owner_helps_who_has_lost_the_telephone_and_nobody_helps_themselves_without_the_password()
 {
    let site = TestSite::new().await;
    site.person("Una Flint", "una", Role::Owner).await;
    let owner = site.owner().await;
    set_up(&owner).await;
    let una = site.signed_in("una").await;
    let page = una.get("/shop/people").await.text().await.unwrap();
    let (before, _) = page.split_once(">Edda Marsh").unwrap();
    let edda = before
        .rsplit("/shop/people/")
        .next()
        .unwrap()
        .trim_end_matches('"')
        .to_owned();
    let reset = format!("/shop/people/{edda}/password");
    let typed = [("password", PASSWORD)];
    // Her own session sets her own password, and the second factor stays.
    assert_eq!(owner.post(&reset, &typed).await.status(), 303);
    at_the_code(&site).await;
    assert_eq!(una.post(&reset, &typed).await.status(), 303);
    let answer = site.stranger().try_sign_in("edda", PASSWORD).await;
    assert_eq!(header(answer.headers(), "location"), "/");
}
