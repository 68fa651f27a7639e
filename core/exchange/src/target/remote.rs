//! Folders, WebDAV and buckets, through the object_store library.

use super::spec::Place;
use super::{Result, Target, TargetError, TargetSpec};
use base64::Engine;
use http::header::{AUTHORIZATION, HeaderMap, HeaderValue};
use object_store::aws::AmazonS3Builder;
use object_store::http::HttpBuilder;
use object_store::local::LocalFileSystem;
use object_store::path::Path;
use object_store::prefix::PrefixStore;
use object_store::{
    BackoffConfig, Certificate, ClientOptions, ObjectStore, ObjectStoreExt, RetryConfig,
};
use std::path::PathBuf;
use std::time::Duration;
use tokio::runtime::Runtime;

const CONNECT: Duration = Duration::from_secs(10);
/// A photograph of 3 MB over 100 kbit/s.
const REQUEST: Duration = Duration::from_mins(5);
/// How long a target may take to say whether it is there.
const ANSWER: Duration = Duration::from_secs(5);
/// Photographs under way together: their waiting for the disk or the line overlaps, and two of
/// 3 MB, sealed and not, leave the memory of a small tablet alone.
const AT_ONCE: usize = 2;

/// A target that is not in memory. The library is asynchronous; its runtime lives in here.
struct Remote {
    name: String,
    /// Where the target is a folder: which.
    folder: Option<PathBuf>,
    store: Box<dyn ObjectStore>,
    runtime: Runtime,
}

/// Connects to a target. Nothing is sent yet.
///
/// # Errors
/// If the address, the certificate or the folder cannot be used.
pub fn connect(spec: &TargetSpec) -> Result<Box<dyn Target>> {
    connect_with(spec, REQUEST, patience())
}

/// Whether a target is there now: a folder exists, a server lists within seconds. Nothing is made.
#[must_use]
pub fn answers(spec: &TargetSpec) -> bool {
    match spec.place() {
        Ok(Place::Folder(path)) => path.is_dir(),
        Ok(_) => {
            let once = RetryConfig {
                max_retries: 0,
                ..patience()
            };
            connect_with(spec, ANSWER, once).is_ok_and(|target| target.list("joining").is_ok())
        }
        Err(_) => false,
    }
}

fn connect_with(
    spec: &TargetSpec,
    request: Duration,
    patience: RetryConfig,
) -> Result<Box<dyn Target>> {
    let place = spec.place()?;
    let name = if spec.name.is_empty() {
        spec.url.clone()
    } else {
        spec.name.clone()
    };
    let failed = |e: object_store::Error| TargetError::from_store(&name, "", e);
    let mut folder = None;
    let store: Box<dyn ObjectStore> = match place {
        Place::Folder(path) => {
            there(&name, &path)?;
            let store = LocalFileSystem::new_with_prefix(&path).map_err(failed)?;
            folder = Some(path);
            Box::new(store.with_fsync(true))
        }
        Place::WebDav { url, plain } => {
            let mut options = client(spec, plain, request)?;
            if let Some(with) = &spec.credentials {
                let both = format!("{}:{}", with.user, with.secret);
                let value = format!(
                    "Basic {}",
                    base64::engine::general_purpose::STANDARD.encode(both)
                );
                let mut value =
                    HeaderValue::from_str(&value).map_err(|_| TargetError::Refused {
                        target: name.clone(),
                    })?;
                value.set_sensitive(true);
                options =
                    options.with_default_headers(HeaderMap::from_iter([(AUTHORIZATION, value)]));
            }
            let built = HttpBuilder::new()
                .with_url(url)
                .with_client_options(options)
                .with_retry(patience)
                .build();
            Box::new(built.map_err(failed)?)
        }
        Place::Bucket {
            endpoint,
            bucket,
            prefix,
            region,
            plain,
        } => {
            let mut builder = AmazonS3Builder::new()
                .with_bucket_name(bucket)
                .with_region(region)
                .with_allow_http(plain)
                .with_client_options(client(spec, plain, request)?)
                .with_retry(patience);
            if let Some(endpoint) = endpoint {
                builder = builder.with_endpoint(endpoint);
            }
            builder = match &spec.credentials {
                Some(with) => builder
                    .with_access_key_id(&with.user)
                    .with_secret_access_key(&with.secret),
                None => builder.with_skip_signature(true),
            };
            let bucket = builder.build().map_err(failed)?;
            if prefix.is_empty() {
                Box::new(bucket)
            } else {
                Box::new(PrefixStore::new(bucket, prefix))
            }
        }
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| TargetError::Failed {
            target: name.clone(),
            why: e.to_string(),
        })?;
    Ok(Box::new(Remote {
        name,
        folder,
        store,
        runtime,
    }))
}

/// Refuses a folder that is not there. It is never made: the place of a stick that is not in would
/// look like the stick.
fn there(target: &str, folder: &std::path::Path) -> Result<()> {
    let looked = std::fs::read_dir(folder).map(|_| ());
    looked.map_err(|e| TargetError::Unreachable {
        target: target.to_owned(),
        why: format!("{}: {e}", folder.display()),
    })
}

fn client(spec: &TargetSpec, plain: bool, request: Duration) -> Result<ClientOptions> {
    let mut options = ClientOptions::new()
        .with_allow_http(plain)
        .with_connect_timeout(CONNECT.min(request))
        .with_timeout(request);
    if let Some(pem) = &spec.certificate {
        let wrong = |why: String| TargetError::Address {
            url: spec.url.clone(),
            why: format!("the certificate beside it cannot be read ({why}). Choose a PEM file."),
        };
        let all = Certificate::from_pem_bundle(pem.as_bytes()).map_err(|e| wrong(e.to_string()))?;
        if all.is_empty() {
            return Err(wrong("it holds none".into()));
        }
        for certificate in all {
            options = options.with_root_certificate(certificate);
        }
    }
    Ok(options)
}

/// A dropped connection or an overloaded server is asked again, three times within a minute.
fn patience() -> RetryConfig {
    RetryConfig {
        backoff: BackoffConfig {
            init_backoff: Duration::from_millis(100),
            max_backoff: Duration::from_secs(5),
            base: 2.0,
        },
        max_retries: 3,
        retry_timeout: Duration::from_mins(1),
    }
}

/// Whether another file put at the same time may just have made the folder that was missing: a
/// WebDAV server then answers 405, and Apache 403 where the other came between its look and its
/// making (`MAP_IO2HTTP` in mod_dav_fs says 403 for every error of the disk it has no word for).
fn folder_made_meanwhile(error: &object_store::Error) -> bool {
    let parts = super::error::chain(error);
    let answers = |status: &str| parts.iter().any(|part| part.contains(status));
    answers("status code: 405 ") || answers("status code: 403 ")
}

impl Remote {
    /// The library makes every folder it needs, also that of a stick pulled out meanwhile; and what
    /// is not found on a stick that is not there is neither missing nor deleted.
    fn still_there(&self) -> Result<()> {
        let folder = self.folder.as_ref();
        folder.map_or(Ok(()), |folder| there(&self.name, folder))
    }

    fn error(&self, name: &str) -> impl FnOnce(object_store::Error) -> TargetError {
        let (target, name) = (self.name.clone(), name.to_owned());
        move |e| TargetError::from_store(&target, &name, e)
    }
}

impl Target for Remote {
    fn list(&self, folder: &str) -> Result<Vec<String>> {
        self.still_there()?;
        let found = self
            .runtime
            .block_on(self.store.list_with_delimiter(Some(&Path::from(folder))));
        let found = match found.map_err(self.error(folder)) {
            Err(error) if error.is_not_found() => return Ok(Vec::new()),
            other => other?,
        };
        let mut names: Vec<String> = found
            .objects
            .iter()
            .filter_map(|meta| meta.location.filename().map(str::to_owned))
            .collect();
        names.sort_unstable();
        Ok(names)
    }

    fn get(&self, name: &str) -> Result<Vec<u8>> {
        self.still_there()?;
        let bytes = self
            .runtime
            .block_on(async { self.store.get(&Path::from(name)).await?.bytes().await });
        Ok(bytes.map_err(self.error(name))?.into())
    }

    fn put(&self, name: &str, bytes: &[u8]) -> Result<()> {
        self.still_there()?;
        let mut tries = 0;
        loop {
            let payload = bytes.to_vec().into();
            let done = self
                .runtime
                .block_on(self.store.put(&Path::from(name), payload));
            match done {
                Err(error) if tries < AT_ONCE && folder_made_meanwhile(&error) => tries += 1,
                done => return done.map(|_| ()).map_err(self.error(name)),
            }
        }
    }

    fn delete(&self, name: &str) -> Result<()> {
        self.still_there()?;
        let done = self.runtime.block_on(self.store.delete(&Path::from(name)));
        match done.map_err(self.error(name)) {
            Err(error) if error.is_not_found() => Ok(()),
            other => other,
        }
    }

    fn describe(&self) -> String {
        self.name.clone()
    }

    fn at_once(&self) -> usize {
        AT_ONCE
    }
}
