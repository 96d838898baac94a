//! Chromium driven over WebDriver (W3C WebDriver Level 2): a driver of its own for each test, and what people do in it.

use std::io::{BufRead as _, BufReader, Read as _};
use std::os::unix::process::CommandExt as _;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{
    InputSource as _, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction,
};
use fantoccini::elements::Element;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::TempDir;

/// The Escape key (W3C WebDriver, keyboard actions).
pub const ESCAPE: &str = "\u{e00c}";
/// The Shift key (the same source).
const SHIFT: char = '\u{e008}';
/// Longest that a page may take to show what is waited for.
const WITHIN: Duration = Duration::from_secs(30);
/// Where in its profile a browser puts what it downloads.
const DOWNLOADS: &str = "downloads";
/// Engine of accessibility checks (axe-core, see its folder).
const AXE: &str = include_str!("axe/axe.min.js");
/// Chromium's switches; `--no-sandbox` since tests may run as root, `--disable-dev-shm-usage` for small containers.
const SWITCHES: [&str; 10] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1280,900",
];

/// A driver process on a free port; it and its browsers end when it is dropped, also when a test fails.
pub struct Driver {
    child: Child,
    address: String,
    /// Kept open: the driver may say more.
    _out: BufReader<ChildStdout>,
}

impl Driver {
    /// Starts one.
    pub fn start() -> Self {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()
            .expect("chromedriver: tests/run installs it");
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let port = out.by_ref().lines().map(Result::unwrap).find_map(|line| {
            Some(line.split_once("started successfully on port ")?.1.trim_end_matches('.').to_owned())
        });
        let address = format!("http://127.0.0.1:{}", port.expect("chromedriver names its port"));
        Self { child, address, _out: out }
    }

    /// A browser with a profile of its own that opens pages of `base`.
    pub async fn browser(&self, base: &str) -> Browser {
        let profile = tempfile::tempdir().unwrap();
        let mut switches: Vec<String> = SWITCHES.map(str::to_owned).into();
        switches.push(format!("--user-data-dir={}", profile.path().display()));
        let wanted = json!({
            "goog:chromeOptions": {
                "args": switches,
                "prefs": { "download.default_directory": profile.path().join(DOWNLOADS).to_str() },
            },
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let Value::Object(wanted) = wanted else { unreachable!() };
        let page = ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted)
            .connect(&self.address)
            .await
            .unwrap();
        let session = page.session_id().await.unwrap().unwrap();
        let session = format!("{}/session/{session}", self.address);
        Browser { page, session, base: base.to_owned(), profile }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // Nothing can be done about a process that is gone already.
        let _ = Command::new("sh").arg("-c").arg(format!("kill -s KILL -- -{}", self.child.id())).status();
        let _ = self.child.wait();
    }
}

/// An XPath literal; what is asked for here has no double quotes.
fn quoted(text: &str) -> String {
    assert!(!text.contains('"'), "{text}");
    format!("\"{text}\"")
}

/// The visible words of an element, with plain single spaces.
const WORDS: &str = "normalize-space(translate(., '\u{a0}', ' '))";

/// One browser, as one person uses it.
pub struct Browser {
    page: Client,
    session: String,
    base: String,
    profile: TempDir,
}

impl Browser {
    /// Opens a path of the service.
    pub async fn open(&self, path: &str) {
        self.page.goto(&format!("{}{path}", self.base)).await.unwrap();
    }

    /// Loads the page once more, whatever is under way on it.
    pub async fn reload(&self) {
        self.page.refresh().await.unwrap();
    }

    /// The path and query that the browser is at.
    pub async fn path(&self) -> String {
        let at = self.page.current_url().await.unwrap();
        at.as_str().strip_prefix(&self.base).unwrap().to_owned()
    }

    /// The first element of the XPath that can be seen, as soon as there is one.
    async fn seen(&self, xpath: &str) -> Element {
        let until = Instant::now() + WITHIN;
        loop {
            let found = self.page.wait().at_most(WITHIN).for_element(Locator::XPath(xpath)).await;
            if found.is_ok() {
                for element in self.page.find_all(Locator::XPath(xpath)).await.unwrap() {
                    // An element of a page that is just being left is no answer.
                    if matches!(element.is_displayed().await, Ok(true)) {
                        return element;
                    }
                }
            }
            if Instant::now() > until {
                panic!("{} shows no {xpath}:\n{}", self.path().await, self.text().await);
            }
        }
    }

    /// All that can be read on the page.
    pub async fn text(&self) -> String {
        self.page.find(Locator::Css("body")).await.unwrap().text().await.unwrap().replace('\u{a0}', " ")
    }

    /// Waits until these words can be read in the page's content.
    pub async fn see(&self, words: &str) {
        let holds = format!("//main[contains({WORDS}, {})]", quoted(words));
        let until = Instant::now() + WITHIN;
        loop {
            let main = self.page.wait().at_most(WITHIN).for_element(Locator::XPath(&holds)).await;
            // The words of folded and hidden elements are not among these.
            let read = match main {
                Ok(main) => main.text().await.unwrap_or_default().replace('\u{a0}', " "),
                Err(_) => String::new(),
            };
            if read.contains(words) {
                return;
            }
            if Instant::now() > until {
                panic!("{} does not say '{words}':\n{}", self.path().await, self.text().await);
            }
        }
    }

    /// Presses the button, link or folded heading whose words begin so.
    pub async fn press(&self, words: &str) {
        let begins =
            format!("[starts-with({WORDS}, {}) and not(ancestor-or-self::*[@hidden])]", quoted(words));
        let any = ["button", "a", "summary"].map(|tag| format!("//{tag}{begins}")).join(" | ");
        self.seen(&any).await.click().await.unwrap();
    }

    /// What the label that begins so names, within the section headed `section`, or anywhere when that is empty.
    async fn labelled(&self, section: &str, label: &str) -> Element {
        let within = if section.is_empty() {
            String::new()
        } else {
            format!("//section[.//h2[starts-with({WORDS}, {})]]", quoted(section))
        };
        let name = format!("{within}//label[starts-with({WORDS}, {})]", quoted(label));
        let label = self.seen(&name).await;
        match label.attr("for").await.unwrap() {
            Some(id) => self.page.find(Locator::Id(&id)).await.unwrap(),
            None => label.find(Locator::Css("input, select, textarea")).await.unwrap(),
        }
    }

    /// Writes into the field with this label.
    pub async fn fill(&self, label: &str, text: &str) {
        self.fill_in("", label, text).await;
    }

    /// Writes into the field with this label in a section.
    pub async fn fill_in(&self, section: &str, label: &str, text: &str) {
        let field = self.labelled(section, label).await;
        field.clear().await.unwrap();
        field.send_keys(text).await.unwrap();
    }

    /// Chooses the option of the select with this label whose words hold these.
    pub async fn choose(&self, label: &str, words: &str) {
        let select = self.labelled("", label).await;
        let option = format!(".//option[contains({WORDS}, {})]", quoted(words));
        select.find(Locator::XPath(&option)).await.unwrap().click().await.unwrap();
    }

    /// Ticks or unticks the box with this label.
    pub async fn tick(&self, label: &str) {
        self.labelled("", label).await.click().await.unwrap();
    }

    /// Gives files to the file field with this label.
    pub async fn give_files(&self, label: &str, files: &[String]) {
        self.labelled("", label).await.send_keys(&files.join("\n")).await.unwrap();
    }

    /// Drops files with these names and texts onto the form that has the file field. Gives whether what comes after an
    /// upload is hidden then.
    pub async fn drop_files(&self, files: &[(&str, &str)]) -> bool {
        let script = "const data = new DataTransfer();
            for (const [name, text] of arguments[0]) data.items.add(new File([text], name));
            const form = document.querySelector('input[type=file]').form;
            for (const kind of ['dragenter', 'dragover', 'drop'])
                form.dispatchEvent(new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true }));
            return form.querySelector('[data-when-done]').hidden;";
        self.page.execute(script, vec![json!(files)]).await.unwrap().as_bool().unwrap()
    }

    /// Waits until so many files are taken: those that can still be cancelled or tried again have a button.
    pub async fn uploaded(&self, files: usize) {
        self.seen(&format!("//form[count(.//progress) = {files} and not(.//li//button[not(@hidden)])]"))
            .await;
    }

    /// Signs in.
    pub async fn sign_in(&self, name: &str, password: &str) {
        self.open(&weighhouse_web::paths::sign_in()).await;
        self.fill("Name", name).await;
        self.fill("Password", password).await;
        self.press("Sign in").await;
        self.seen(&format!("//header//*[contains({WORDS}, {})]", quoted(name))).await;
    }

    /// The words of the table row whose heading holds these.
    pub async fn row(&self, words: &str) -> String {
        let row = format!("//tr[th[contains({WORDS}, {})]]", quoted(words));
        self.seen(&row).await.text().await.unwrap().replace('\u{a0}', " ")
    }

    /// The words of the first element that the CSS selector finds.
    pub async fn words(&self, selector: &str) -> String {
        match self.page.wait().at_most(WITHIN).for_element(Locator::Css(selector)).await {
            Ok(found) => found.text().await.unwrap().replace('\u{a0}', " "),
            Err(_) => panic!("{} has no {selector}:\n{}", self.path().await, self.text().await),
        }
    }

    /// What a script gives back.
    pub async fn script(&self, script: &str) -> Value {
        self.page.execute(script, Vec::new()).await.unwrap()
    }

    /// Waits until a script gives this.
    pub async fn until(&self, script: &str, wanted: &Value) {
        let until = Instant::now() + WITHIN;
        // A page that is just being left has no answer.
        while self.page.execute(script, Vec::new()).await.as_ref().ok() != Some(wanted) {
            if Instant::now() > until {
                panic!("{}: {script} does not give {wanted}:\n{}", self.path().await, self.text().await);
            }
        }
    }

    /// Presses this key so many times while Shift is held.
    pub async fn shift(&self, key: char, times: usize) {
        let mut actions = KeyActions::new("keyboard".to_owned()).then(KeyAction::Down { value: SHIFT });
        for _ in 0..times {
            actions = actions.then(KeyAction::Down { value: key }).then(KeyAction::Up { value: key });
        }
        self.page.perform_actions(actions.then(KeyAction::Up { value: SHIFT })).await.unwrap();
    }

    /// Drags what one CSS selector finds onto what another one finds, as a mouse does.
    pub async fn drag(&self, from: &str, to: &str) {
        let (from, to) = (Locator::Css(from), Locator::Css(to));
        let (from, to) = (self.page.find(from).await.unwrap(), self.page.find(to).await.unwrap());
        let over = |element| PointerAction::MoveToElement {
            element,
            duration: Some(Duration::from_millis(100)),
            x: 0.0,
            y: 0.0,
        };
        let actions = MouseActions::new("mouse".to_owned())
            .then(over(from))
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
            // Past the way from which on a pressed button drags.
            .then(PointerAction::MoveBy { duration: Some(Duration::from_millis(100)), x: 12.0, y: 0.0 })
            .then(over(to))
            // Only a target over which it moves takes what is dragged.
            .then(PointerAction::MoveBy { duration: Some(Duration::from_millis(100)), x: 4.0, y: 0.0 })
            .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
        self.page.perform_actions(actions).await.unwrap();
    }

    /// Presses keys one after the other, wherever the focus is; `ESCAPE` among them.
    pub async fn keys(&self, keys: &str) {
        let press = |actions: KeyActions, value| {
            actions.then(KeyAction::Down { value }).then(KeyAction::Up { value })
        };
        let actions = keys.chars().fold(KeyActions::new("keyboard".to_owned()), press);
        self.page.perform_actions(actions).await.unwrap();
    }

    /// The file with this ending that was downloaded, as soon as it is whole.
    pub async fn downloaded(&self, ending: &str) -> Vec<u8> {
        let folder = self.profile.path().join(DOWNLOADS);
        let until = Instant::now() + WITHIN;
        loop {
            // Asking for the title lets the browser go on. It writes elsewhere and renames in the end; till then an empty
            // file may hold the name.
            self.page.title().await.unwrap();
            let files = std::fs::read_dir(&folder).into_iter().flatten().map(|file| file.unwrap().path());
            let named = files.filter(|path| path.to_str().unwrap().ends_with(ending));
            let whole = named.map(|path| std::fs::read(path).unwrap()).find(|bytes| !bytes.is_empty());
            if let Some(bytes) = whole {
                return bytes;
            }
            assert!(Instant::now() < until, "nothing that ends in {ending} was downloaded");
        }
    }

    /// Shows pages as on a dark screen, or on a light one.
    pub async fn dark(&self, dark: bool) {
        let scheme = json!({ "name": "prefers-color-scheme", "value": if dark { "dark" } else { "light" } });
        let body = json!({ "cmd": "Emulation.setEmulatedMedia", "params": { "features": [scheme] } });
        self.command("goog/cdp/execute", &body).await;
    }

    /// What breaks a rule of accessibility on the page: rule and element.
    pub async fn violations(&self) -> Vec<String> {
        self.page.execute(AXE, Vec::new()).await.unwrap();
        let run = "const done = arguments[0];
            axe.run(document, { resultTypes: ['violations'], rules: { 'target-size': { enabled: true } } })
                .then((found) => done(found.violations.flatMap((rule) => rule.nodes.map((node) =>
                    rule.id + ': ' + node.html.slice(0, 200) + ' ' + node.failureSummary))));";
        let found = self.page.execute_async(run, Vec::new()).await.unwrap();
        found.as_array().unwrap().iter().map(|each| each.as_str().unwrap().to_owned()).collect()
    }

    /// A command of the driver that the client has no name for.
    async fn command(&self, command: &str, body: &Value) -> Value {
        let answer = reqwest::Client::new().post(format!("{}/{command}", self.session)).json(body).send();
        let answer: Value = answer.await.unwrap().json().await.unwrap();
        assert!(answer["value"]["error"].is_null(), "{command}: {answer}");
        answer["value"].clone()
    }

    /// Makes the page this wide, in CSS pixels, as on a device of that width.
    pub async fn width(&self, px: u32) {
        let metrics = json!({ "width": px, "height": 900, "deviceScaleFactor": 1, "mobile": false });
        let body = json!({ "cmd": "Emulation.setDeviceMetricsOverride", "params": metrics });
        self.command("goog/cdp/execute", &body).await;
    }

    /// What the console said since it was last asked, other than plain messages.
    pub async fn complaints(&self) -> Vec<String> {
        let log = self.command("se/log", &json!({ "type": "browser" })).await;
        let told = log.as_array().unwrap().iter();
        told.filter(|entry| matches!(entry["level"].as_str(), Some("SEVERE" | "WARNING")))
            .map(|entry| entry["message"].as_str().unwrap().to_owned())
            .collect()
    }

    /// Closes it.
    pub async fn close(self) {
        self.page.close().await.unwrap();
        drop(self.profile);
    }
}
