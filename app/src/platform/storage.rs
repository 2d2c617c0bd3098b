//! The browser's storage: the session and the files of its captures, kept in this browser only.

use analysis::content_hash::ContentHash;
use idb::{Database, Error, Factory, ObjectStoreParams, TransactionMode};
use js_sys::Uint8Array;
use wasm_bindgen::JsValue;

const DATABASE: &str = "boardglow";
const VERSION: u32 = 1;
/// The session's text under [`PRESENT`].
const SESSIONS: &str = "sessions";
const PRESENT: &str = "present";
/// A session that could not be read, so that a later version may.
const SET_ASIDE: &str = "set-aside";
/// The bytes of each capture's file, under its hash.
const CAPTURES: &str = "captures";

/// The opened storage.
#[derive(Debug)]
pub struct Storage {
    database: Database,
}

impl Storage {
    /// Opens it, making it where there is none.
    ///
    /// # Errors
    /// What the browser says, for instance in a private window.
    pub async fn open() -> Result<Self, Error> {
        let mut request = Factory::new()?.open(DATABASE, Some(VERSION))?;
        request.on_upgrade_needed(|event| {
            // A storage without its two halves is found out by the first reading.
            if let Ok(database) = idb::DatabaseEvent::database(&event) {
                for name in [SESSIONS, CAPTURES] {
                    let _ = database.create_object_store(name, ObjectStoreParams::new());
                }
            }
        });
        Ok(Self { database: request.await? })
    }

    /// The session's text, if one is kept.
    ///
    /// # Errors
    /// What the browser says.
    pub async fn session(&self) -> Result<Option<String>, Error> {
        let transaction = self.database.transaction(&[SESSIONS], TransactionMode::ReadOnly)?;
        let kept = transaction.object_store(SESSIONS)?.get(JsValue::from(PRESENT))?.await?;
        Ok(kept.and_then(|text| text.as_string()))
    }

    /// Sets a session's text aside, so that the next one does not overwrite it.
    ///
    /// # Errors
    /// What the browser says.
    pub async fn set_aside(&self, session: &str) -> Result<(), Error> {
        let transaction = self.database.transaction(&[SESSIONS], TransactionMode::ReadWrite)?;
        transaction.object_store(SESSIONS)?.put(&JsValue::from(session), Some(&JsValue::from(SET_ASIDE)))?;
        transaction.commit()?.await?;
        Ok(())
    }

    /// The bytes of one capture's file, if they are kept.
    ///
    /// # Errors
    /// What the browser says.
    pub async fn capture(&self, hash: &ContentHash) -> Result<Option<Vec<u8>>, Error> {
        let transaction = self.database.transaction(&[CAPTURES], TransactionMode::ReadOnly)?;
        let kept = transaction.object_store(CAPTURES)?.get(JsValue::from(hash.as_str()))?.await?;
        Ok(kept.map(|bytes| Uint8Array::new(&bytes).to_vec()))
    }

    /// Keeps the session with the captures that are new, and drops those that are gone: all or nothing.
    ///
    /// # Errors
    /// What the browser says, for instance when storage is full. What was kept before is then still kept.
    pub async fn keep(
        &self,
        session: &str,
        new: &[(ContentHash, std::rc::Rc<[u8]>)],
        gone: &[ContentHash],
    ) -> Result<(), Error> {
        let transaction = self.database.transaction(&[SESSIONS, CAPTURES], TransactionMode::ReadWrite)?;
        transaction.object_store(SESSIONS)?.put(&JsValue::from(session), Some(&JsValue::from(PRESENT)))?;
        let captures = transaction.object_store(CAPTURES)?;
        for (hash, bytes) in new {
            captures.put(&Uint8Array::from(bytes.as_ref()), Some(&JsValue::from(hash.as_str())))?;
        }
        for hash in gone {
            captures.delete(JsValue::from(hash.as_str()))?;
        }
        transaction.commit()?.await?;
        Ok(())
    }
}
