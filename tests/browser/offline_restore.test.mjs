// After a restore the tablet still has what the backup had not, and sends it again.
import assert from 'node:assert/strict';
import { execFile } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { offlineStory } from './offline.mjs';
import { BINARY, startProgram } from './program.mjs';

const run = promisify(execFile);
const DAY = 24 * 3600 * 1000;

offlineStory('a tablet and the backups of its station', (promise) => {
  promise('what was sent is kept until a backup covers it and thirty days have passed', async (stage) => {
    const folder = await mkdtemp(join(tmpdir(), 'backup-'));
    try {
      const tablet = await stage.cutOff();
      for (const unit of ['101', '102']) await tablet.checkAway(unit);
      await stage.net.heals();
      await tablet.hasSentAll();
      const [old] = await tablet.rows();
      const visits = async () => {
        await tablet.page.goto('/unsent');
        await tablet.page.getByText('Everything written on this tablet has been received.').waitFor();
        // The next answer of the station is after it has settled with this one.
        await tablet.page.getByRole('button', { name: 'Send now' }).click();
        await tablet.page.getByText('The station has everything.').waitFor();
        return (await tablet.rows()).map((r) => r.unit);
      };
      await tablet.changeRecords({ received: Date.now() - 31 * DAY }, [], old.id);
      assert.deepEqual(await visits(), ['101', '102'], 'old, and in no backup');
      await run(BINARY, ['backup', '--data', stage.station.program.data, join(folder, 'one')]);
      assert.deepEqual(await visits(), ['102'], 'old and in a backup: gone; in a backup and young: kept');
    } finally {
      await rm(folder, { recursive: true });
    }
  });

  promise('what a restored server has not is sent to it again by itself, byte for byte', async (stage) => {
    const folder = await mkdtemp(join(tmpdir(), 'restored-'));
    let restored;
    try {
      await run(BINARY, ['backup', '--data', stage.station.program.data, join(folder, 'early')]);
      const tablet = await stage.cutOff();
      await tablet.checkAway('105');
      await stage.net.heals();
      await tablet.hasSentAll();
      const [sent] = await tablet.rows();
      const data = join(folder, 'data');
      await run(BINARY, ['restore', '--data', data, join(folder, 'early')]);
      restored = await startProgram({ args: ['demo'], data });
      stage.release.leadsTo(restored.url);
      await tablet.page.goto('/unsent');
      await tablet.until(async () => ![undefined, sent.epoch].includes((await tablet.rows())[0].epoch), 'another receipt');
      const [again] = await tablet.rows();
      assert.deepEqual([again.state, again.text], ['received', sent.text]);
      await stage.areStored([again], restored.url);
    } finally {
      stage.release.leadsTo(stage.station.program.url);
      await restored?.stop();
      await rm(folder, { recursive: true });
    }
  });
});
