//! A real browser: headless Chromium, driven by key presses, looked at by pictures and by a check of every page.

use super::site::TestSite;
use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::elements::Element;
use fantoccini::key::Key;
use fantoccini::wd::TimeoutConfiguration;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tokio::sync::{OnceCell, Semaphore, SemaphorePermit};

/// How long a page may take to show something.
const PATIENCE: Duration = Duration::from_secs(15);

/// One driver for the test process, and few browsers at once: each takes a core while it starts.
static DRIVER: OnceCell<Driver> = OnceCell::const_new();
static TURNS: Semaphore = Semaphore::const_new(2);

/// The driver runs under a shell that waits on a pipe held by this process. When the pipe closes, however this process
/// ends, the shell ends its process group (the driver and every browser it started) and removes their files.
const SHELL: &str = r#"
trap : TERM
dir=$(mktemp -d) || exit
export TMPDIR="$dir" HOME="$dir"
exec 3<&0 </dev/null
"$1" --port=0 --log-level=SEVERE 3<&- &
read -r _ <&3
trap '' TERM
kill -TERM 0
wait
sleep 0.3
rm -rf -- "$dir"
kill -KILL 0
"#;

struct Driver {
    port: u16,
    chromium: PathBuf,
    _shell: Child,
    _output: BufReader<ChildStdout>,
}

impl Driver {
    async fn get() -> &'static Self {
        DRIVER
            .get_or_init(|| async { tokio::task::spawn_blocking(Self::start).await.unwrap() })
            .await
    }

    #[expect(
        clippy::zombie_processes,
        reason = "the shell lives as long as this process and ends itself with it"
    )]
    fn start() -> Self {
        let chromium = std::env::var_os("BOREWRIGHT_CHROMIUM")
            .map(PathBuf::from)
            .or_else(|| on_path(&["chromium", "chromium-browser", "google-chrome"]))
            .expect("Chromium is needed for the browser tests: install it (Debian: apt-get install chromium chromium-driver) or name it in BOREWRIGHT_CHROMIUM");
        let driver = std::env::var_os("BOREWRIGHT_CHROMEDRIVER")
            .map(PathBuf::from)
            .or_else(|| on_path(&["chromedriver"]))
            .expect("chromedriver is needed for the browser tests: install it (Debian: apt-get install chromium-driver) or name it in BOREWRIGHT_CHROMEDRIVER");
        let mut shell = Command::new("/bin/sh")
            .arg("-c")
            .arg(SHELL)
            .arg("sh")
            .arg(driver)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .process_group(0)
            .spawn()
            .unwrap();
        let mut output = BufReader::new(shell.stdout.take().unwrap());
        let mut said = String::new();
        loop {
            let from = said.len();
            assert_ne!(
                output.read_line(&mut said).unwrap(),
                0,
                "chromedriver said:\n{said}"
            );
            if let Some((_, port)) = said[from..].split_once("successfully on port ") {
                let port = port.trim().trim_end_matches('.').parse().unwrap();
                return Self {
                    port,
                    chromium,
                    _shell: shell,
                    _output: output,
                };
            }
        }
    }
}

fn on_path(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    names.iter().find_map(|name| {
        std::env::split_paths(&path)
            .map(|dir| dir.join(name))
            .find(|file| file.is_file())
    })
}

/// How wide a page is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Screen {
    /// 1440 × 1000.
    Desktop,
    /// 820 × 1180, with touch.
    Tablet,
    /// 390 × 844, with touch.
    Phone,
}

impl Screen {
    /// The two widths every page must work at.
    pub const ALL: [Self; 2] = [Self::Desktop, Self::Phone];

    fn size(self) -> (u32, u32) {
        match self {
            Self::Desktop => (1440, 1000),
            Self::Tablet => (820, 1180),
            Self::Phone => (390, 844),
        }
    }
}

/// A browser window looking at a site.
pub struct Browser {
    client: Client,
    session: String,
    screen: Screen,
    address: String,
    keys: AtomicUsize,
    _turn: SemaphorePermit<'static>,
}

impl Browser {
    /// A new window with no cookies.
    pub async fn open(site: &TestSite, screen: Screen) -> Self {
        let turn = TURNS.acquire().await.unwrap();
        let driver = Driver::get().await;
        let (width, height) = screen.size();
        let phone = screen == Screen::Phone;
        let options = json!({
            "binary": driver.chromium,
            "args": [
                "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                "--disable-dev-shm-usage", "--hide-scrollbars", "--lang=en-GB",
            ],
            "prefs": { "credentials_enable_service": false, "profile.password_manager_enabled": false },
            "mobileEmulation": { "deviceMetrics": {
                "width": width, "height": height, "pixelRatio": 1.0, "mobile": phone, "touch": screen != Screen::Desktop,
            } },
        });
        let capabilities = json!({
            "goog:chromeOptions": options,
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let Value::Object(capabilities) = capabilities else {
            unreachable!()
        };
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{}", driver.port))
            .await
            .unwrap();
        // Beside other tests a page of many parts takes long to look over.
        let patient = TimeoutConfiguration::new(Some(Duration::from_secs(120)), None, None);
        client.update_timeouts(patient).await.unwrap();
        let session = client.session_id().await.unwrap().unwrap();
        Self {
            client,
            session,
            screen,
            address: site.address.clone(),
            keys: AtomicUsize::new(0),
            _turn: turn,
        }
    }

    /// A new window in which the person has signed in.
    pub async fn signed_in(site: &TestSite, screen: Screen, sign_in: &str) -> Self {
        let browser = Self::open(site, screen).await;
        browser.goto("/password").await;
        browser.type_text(sign_in).await;
        browser.press(Key::Tab).await;
        browser.type_text(super::site::PASSWORD).await;
        browser.press(Key::Enter).await;
        browser.wait_for("header.head").await;
        browser
    }

    /// Opens a path of the site.
    pub async fn goto(&self, path: &str) {
        self.client
            .goto(&format!("{}{path}", self.address))
            .await
            .unwrap();
    }

    /// Where it is: path and query.
    pub async fn path(&self) -> String {
        let url = self.client.current_url().await.unwrap();
        url.as_str().trim_start_matches(&self.address).to_owned()
    }

    /// Presses and releases a key.
    pub async fn press(&self, key: Key) {
        self.press_with(&[], char::from(key)).await;
    }

    /// Presses and releases a key or letter while others are held.
    pub async fn press_with(&self, held: &[Key], key: char) {
        self.keys.fetch_add(held.len() + 1, Ordering::Relaxed);
        let mut actions = KeyActions::new("keys".to_owned());
        for held in held {
            actions = actions.then(KeyAction::Down {
                value: char::from(*held),
            });
        }
        actions = actions
            .then(KeyAction::Down { value: key })
            .then(KeyAction::Up { value: key });
        for held in held.iter().rev() {
            actions = actions.then(KeyAction::Up {
                value: char::from(*held),
            });
        }
        self.client.perform_actions(actions).await.unwrap();
    }

    /// How many keys were pressed so far.
    pub fn keys(&self) -> usize {
        self.keys.load(Ordering::Relaxed)
    }

    /// Types a text, key by key, into whatever has the keyboard.
    pub async fn type_text(&self, text: &str) {
        self.keys.fetch_add(text.chars().count(), Ordering::Relaxed);
        let mut actions = KeyActions::new("keys".to_owned());
        for value in text.chars() {
            actions = actions
                .then(KeyAction::Down { value })
                .then(KeyAction::Up { value });
        }
        self.client.perform_actions(actions).await.unwrap();
    }

    /// Presses Tab until the element has the keyboard. Fails when it cannot be reached.
    pub async fn tab_to(&self, css: &str) {
        let mut met = Vec::new();
        for _ in 0..80 {
            let script = "const a = document.activeElement; return [a?.matches(arguments[0]) ?? false, \
                          (a?.id || a?.textContent || a?.tagName || '').trim().slice(0, 40)];";
            let answer = self.script(script, vec![json!(css)]).await;
            if answer[0] == json!(true) {
                return;
            }
            met.push(answer[1].as_str().unwrap_or_default().to_owned());
            self.press(Key::Tab).await;
        }
        panic!("Tab does not reach {css}; it met {met:?}");
    }

    /// Runs a script in the page.
    pub async fn script(&self, script: &str, arguments: Vec<Value>) -> Value {
        self.client.execute(script, arguments).await.unwrap()
    }

    /// Runs a script in the page that gives its answer later, to the function that is its last argument.
    pub async fn script_later(&self, script: &str, arguments: Vec<Value>) -> Value {
        self.client.execute_async(script, arguments).await.unwrap()
    }

    /// Waits until an element is there.
    pub async fn wait_for(&self, css: &str) -> Element {
        let found = self
            .client
            .wait()
            .at_most(PATIENCE)
            .for_element(Locator::Css(css))
            .await;
        match found {
            Ok(element) => element,
            Err(error) => panic!(
                "{css} did not come at {} ({error}); the page says:\n{}",
                self.path().await,
                self.text("body").await
            ),
        }
    }

    /// Waits until the text of an element holds some words.
    pub async fn wait_for_text(&self, css: &str, words: &str) {
        let give_up = tokio::time::Instant::now() + PATIENCE;
        loop {
            let script = "return [...document.querySelectorAll(arguments[0])].map(e => e.innerText).join('\\n')";
            let text = self.script(script, vec![json!(css)]).await;
            let text = text.as_str().unwrap_or_default();
            if text.contains(words) {
                return;
            }
            assert!(
                tokio::time::Instant::now() < give_up,
                "{css} never said “{words}”; it says “{text}”"
            );
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
    }

    /// The visible text of an element.
    pub async fn text(&self, css: &str) -> String {
        self.find(css).await.text().await.unwrap()
    }

    /// An element that is there.
    pub async fn find(&self, css: &str) -> Element {
        match self.client.find(Locator::Css(css)).await {
            Ok(element) => element,
            Err(error) => panic!("no {css}: {error}"),
        }
    }

    /// Shows what follows as to someone who prefers dark pages.
    pub async fn dark(&self) {
        self.devtools(
            "Emulation.setEmulatedMedia",
            json!({"features": [{"name": "prefers-color-scheme", "value": "dark"}]}),
        )
        .await;
    }

    /// Presses a thing as a finger or a mouse does. It must be there, in sight and not covered. A page that is loaded
    /// anew between the finding and the pressing is looked at again.
    pub async fn tap(&self, css: &str) {
        for _ in 0..5 {
            match self.wait_for(css).await.click().await {
                Ok(()) => return,
                Err(error) if error.is_stale_element_reference() => {}
                Err(error) => panic!("{css} cannot be pressed: {error}"),
            }
        }
        panic!("{css} is never there for long enough to be pressed");
    }

    /// Takes the network away from the page once its scripts have run, or gives it back.
    pub async fn offline(&self, offline: bool) {
        let since = std::time::Instant::now();
        let loaded = "return document.readyState === 'complete'";
        while offline && self.script(loaded, vec![]).await != json!(true) {
            assert!(since.elapsed() < PATIENCE, "the page never loads");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        self.devtools("Network.enable", json!({})).await;
        let conditions = json!({
            "offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1,
        });
        self.devtools("Network.emulateNetworkConditions", conditions)
            .await;
    }

    /// Checks the page as a whole and saves its picture as `<name>-<width>.png` under `target/pictures`; `make pictures`
    /// takes the README's from there.
    pub async fn picture(&self, name: &str) {
        self.check().await;
        let answer = self
            .devtools(
                "Page.captureScreenshot",
                json!({"format": "png", "captureBeyondViewport": true}),
            )
            .await;
        let png = base64::Engine::decode(
            &base64::engine::general_purpose::STANDARD,
            answer["data"].as_str().unwrap(),
        )
        .unwrap();
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/pictures");
        std::fs::create_dir_all(&folder).unwrap();
        let file = folder.join(format!("{name}-{}.png", self.screen.size().0));
        std::fs::write(file, &png).unwrap();
    }

    /// What every page must keep: nothing to scroll sideways, every field and control named, every reference leading
    /// somewhere, targets large enough on a phone, and nothing in the console.
    pub async fn check(&self) {
        let phone = self.screen == Screen::Phone;
        let faults = self.script(CHECK, vec![json!(phone)]).await;
        assert_eq!(faults, json!([]), "at {}", self.path().await);
        let log = self.driver("se/log", json!({"type": "browser"})).await;
        let complaints: Vec<&Value> = log
            .as_array()
            .unwrap()
            .iter()
            .filter(|entry| entry["level"] == "SEVERE" || entry["level"] == "WARNING")
            // A page that is itself a refusal is logged as a failed load, and so is what a test took the network from.
            .filter(|entry| {
                let expected = |m: &str| {
                    m.contains("responded with a status of 4")
                        || m.contains("net::ERR_INTERNET_DISCONNECTED")
                };
                !(entry["source"] == "network" && entry["message"].as_str().is_some_and(expected))
            })
            .collect();
        assert!(complaints.is_empty(), "console: {complaints:#?}");
    }

    /// How many sheets of A4, as the page asks for them to lie, it takes on paper.
    pub async fn sheets(&self) -> usize {
        let answer = self
            .devtools(
                "Page.printToPDF",
                json!({"preferCSSPageSize": true, "paperWidth": 8.27, "paperHeight": 11.69, "printBackground": true}),
            )
            .await;
        let pdf = base64::Engine::decode(
            &base64::engine::general_purpose::STANDARD,
            answer["data"].as_str().unwrap(),
        )
        .unwrap();
        let text = String::from_utf8_lossy(&pdf);
        let pages = text.matches("/Type /Page").count() - text.matches("/Type /Pages").count();
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/pictures");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join("printed.pdf"), &pdf).unwrap();
        pages
    }

    /// Closes the window; the driver's end closes it otherwise.
    pub async fn close(self) {
        self.client.close().await.unwrap();
    }

    /// A command of the browser's developer tools.
    async fn devtools(&self, command: &str, parameters: Value) -> Value {
        self.driver(
            "goog/cdp/execute",
            json!({"cmd": command, "params": parameters}),
        )
        .await
    }

    /// A command of chromedriver's own.
    async fn driver(&self, command: &str, body: Value) -> Value {
        let port = Driver::get().await.port;
        let url = format!("http://127.0.0.1:{port}/session/{}/{command}", self.session);
        let answer = reqwest::Client::new().post(url).json(&body).send().await;
        let answer: Value = answer.unwrap().json().await.unwrap();
        assert!(
            answer["value"].get("error").is_none(),
            "{command}: {answer}"
        );
        answer["value"].clone()
    }
}

const CHECK: &str = include_str!("check.js");
