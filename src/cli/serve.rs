//! `walewise serve`: the page for photos in a browser, from this program, for this machine alone.

use super::ExitStatus;
use super::output;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tiny_http::{Header, Method, Request, Response, Server};

/// Show the page in a browser on this machine: measure photos, plan pieces, keep swatches
///
/// Nothing leaves the machine: the page is served on 127.0.0.1 alone, and measures in the browser.
#[derive(clap::Args)]
pub struct ServeArguments {
    /// Port on 127.0.0.1; what the browser keeps belongs to this address, so stay with one
    #[arg(long, value_name = "N", default_value_t = 4978)]
    port: u16,

    /// Folder of the built page, instead of the one in this program
    #[arg(long, value_name = "FOLDER")]
    site: Option<PathBuf>,
}

/// Files of the page by their path in it.
type Site = BTreeMap<String, Vec<u8>>;

/// The files that were built before this program was; empty where none were.
const BUILT_IN: &[(&str, &[u8])] = include!(concat!(env!("OUT_DIR"), "/page_files.rs"));

/// What the page may do: what its own file says, and not to be shown inside another page.
const POLICY: &str = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'; \
                      style-src 'self'; img-src 'self' blob:; manifest-src 'self'; form-action 'none'; base-uri 'none'; \
                      frame-ancestors 'none'";

/// More than any built page holds: a folder named by mistake is not read whole.
const MOST_BYTES: u64 = 64 << 20;

/// Requests that are answered at once: browsers open at most six connections to one address, and two may look.
const AT_ONCE: usize = 12;

/// Runs until it is stopped.
pub fn run(arguments: &ServeArguments) -> ExitStatus {
    let site = match site(arguments.site.as_deref()) {
        Ok(site) => site,
        Err(message) => {
            output::complain(&message);
            return ExitStatus::BadArguments;
        }
    };
    let server = match Server::http(("127.0.0.1", arguments.port)) {
        Ok(server) => server,
        Err(error) => {
            output::complain(&format!("port {} can't be used: {error}; choose another with --port", arguments.port));
            return ExitStatus::Other;
        }
    };
    // Port 0 asks the system for any that is free.
    let port = server.server_addr().to_ip().map_or(arguments.port, |address| address.port());
    if output::print(&format!("The page is at http://127.0.0.1:{port}/ (Ctrl-C ends it).\n")).is_err() {
        return ExitStatus::Other;
    }
    // Several at once: a browser may stop reading one file until it has another.
    std::thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| server.incoming_requests().for_each(|request| answer(request, &site, port)));
        }
    });
    ExitStatus::Done
}

fn site(folder: Option<&Path>) -> Result<Site, String> {
    let site = match folder {
        Some(folder) => read_folder(folder).map_err(|e| format!("--site {}: {e}", folder.display()))?,
        None => BUILT_IN.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect(),
    };
    match (site.contains_key("index.html"), folder) {
        (true, _) => Ok(site),
        (false, Some(folder)) => Err(format!("--site {}: there is no index.html in it", folder.display())),
        (false, None) => Err("this program was built without the page: build it with web/build, then name its folder \
                              with --site, or build the program again"
            .to_owned()),
    }
}

fn read_folder(folder: &Path) -> Result<Site, String> {
    let mut site = Site::new();
    let mut folders = vec![folder.to_owned()];
    let mut bytes = 0;
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).map_err(|e| e.to_string())? {
            let path = entry.map_err(|e| e.to_string())?.path();
            let about = std::fs::symlink_metadata(&path).map_err(|e| e.to_string())?;
            if about.is_dir() {
                folders.push(path);
            } else if about.is_file() {
                bytes += about.len();
                if bytes > MOST_BYTES {
                    return Err("this holds more than a built page".to_owned());
                }
                let name = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().replace('\\', "/");
                site.insert(name, std::fs::read(&path).map_err(|e| e.to_string())?);
            }
        }
    }
    Ok(site)
}

fn answer(request: Request, site: &Site, port: u16) {
    let (status, body, kind) = match reply(&request, site, port) {
        Ok((bytes, kind)) => (200, bytes.to_vec(), kind),
        Err((status, message)) => (status, message.as_bytes().to_vec(), "text/plain; charset=utf-8"),
    };
    let mut response = Response::from_data(body).with_status_code(status);
    let headers = [
        ("Content-Type", kind),
        ("Content-Security-Policy", POLICY),
        ("X-Content-Type-Options", "nosniff"),
        ("Referrer-Policy", "no-referrer"),
        ("Cross-Origin-Opener-Policy", "same-origin"),
        ("Cross-Origin-Resource-Policy", "same-origin"),
        ("Cache-Control", "no-cache"),
    ];
    for (name, value) in headers {
        if let Ok(header) = Header::from_bytes(name, value) {
            response.add_header(header);
        }
    }
    // A browser that went away is nobody's mistake.
    let _ = request.respond(response);
}

/// The file that is asked for; `Err` holds a status and words.
fn reply<'a>(request: &Request, site: &'a Site, port: u16) -> Result<(&'a [u8], &'static str), (u16, &'static str)> {
    let host = request.headers().iter().find(|h| h.field.equiv("Host")).map(|h| h.value.as_str());
    if !is_this_machine(host, port) {
        return Err((403, "this page is for this machine alone\n"));
    }
    if !matches!(request.method(), Method::Get | Method::Head) {
        return Err((405, "only GET is answered\n"));
    }
    let path = request.url().split(['?', '#']).next().unwrap_or_default().trim_start_matches('/');
    let path = if path.is_empty() { "index.html" } else { path };
    site.get(path).map(|bytes| (bytes.as_slice(), kind_of(path))).ok_or((404, "there is no such file\n"))
}

/// Whether the browser asked for this machine by its own name: another site's name that leads here (DNS rebinding) is
/// not answered.
fn is_this_machine(host: Option<&str>, port: u16) -> bool {
    host.is_some_and(|host| ["127.0.0.1", "localhost"].iter().any(|name| host == format!("{name}:{port}")))
}

fn kind_of(path: &str) -> &'static str {
    match path.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("wasm") => "application/wasm",
        Some("webmanifest") => "application/manifest+json",
        _ => "text/plain; charset=utf-8",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_by_its_own_name() {
        assert!(is_this_machine(Some("127.0.0.1:4978"), 4978) && is_this_machine(Some("localhost:4978"), 4978));
        for host in [None, Some(""), Some("127.0.0.1"), Some("127.0.0.1:80"), Some("evil.example:4978")] {
            assert!(!is_this_machine(host, 4978), "{host:?}");
        }
    }

    #[test]
    fn a_folder_is_a_page_only_with_its_first_file() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(site(Some(folder.path())).unwrap_err().contains("no index.html"));
        std::fs::create_dir(folder.path().join("in")).expect("a folder");
        std::fs::write(folder.path().join("index.html"), "page").expect("a file");
        std::fs::write(folder.path().join("in/a.js"), "script").expect("a file");
        let site = site(Some(folder.path())).expect("a page");
        assert_eq!(site.keys().collect::<Vec<_>>(), ["in/a.js", "index.html"]);
    }
}
